#define _GNU_SOURCE
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <sys/types.h>
#include <unistd.h>

#include "faults.h"

// The part of SQLite's public interface that is needed, as sqlite3.h has it.
typedef struct sqlite3_vfs sqlite3_vfs;
typedef void (*sqlite3_syscall_ptr)(void);
struct sqlite3_vfs {
	int iVersion, szOsFile, mxPathname;
	sqlite3_vfs *pNext;
	const char *zName;
	void *pAppData;
	void *unused[9]; // xOpen to xRandomness
	int (*xSleep)(sqlite3_vfs *, int);
	void *unused2[3]; // xCurrentTime to xCurrentTimeInt64
	int (*xSetSystemCall)(sqlite3_vfs *, const char *, sqlite3_syscall_ptr);
	sqlite3_syscall_ptr (*xGetSystemCall)(sqlite3_vfs *, const char *);
};
extern sqlite3_vfs *sqlite3_vfs_find(const char *);
extern int sqlite3_initialize(void);

static int count, fail_at, fail_with, fail_on, fail_torn, fail_unlocks;
static int (*real_sleep)(sqlite3_vfs *, int);

// fails counts a call of the kind that is to fail, a write or an unlock, and says
// whether it does.
static int fails(int unlock) {
	if (unlock != __atomic_load_n(&fail_unlocks, __ATOMIC_SEQ_CST)) return 0;
	int at = __atomic_load_n(&fail_at, __ATOMIC_SEQ_CST);
	int n = __atomic_add_fetch(&count, 1, __ATOMIC_SEQ_CST);
	if (at == 0 || n < at || (n > at && !fail_on)) return 0;
	errno = fail_with;
	return 1;
}

static ssize_t our_pwrite(int fd, const void *b, size_t n, off_t at) {
	if (!fails(0)) return pwrite(fd, b, n, at);
	if (fail_torn && n > 1) {
		if (pwrite(fd, b, n / 2, at) < 0) return -1;
		errno = fail_with;
	}
	return -1;
}

static ssize_t our_write(int fd, const void *b, size_t n) {
	if (!fails(0)) return write(fd, b, n);
	if (fail_torn && n > 1) {
		if (write(fd, b, n / 2) < 0) return -1;
		errno = fail_with;
	}
	return -1;
}

static int our_ftruncate(int fd, off_t size) { return fails(0) ? -1 : ftruncate(fd, size); }
static int our_unlink(const char *path) { return fails(0) ? -1 : unlink(path); }

// The locks that connections hold on the shared memory of a write-ahead log lie in these
// bytes of it, one each; see walformat.html, "WAL-Index File Format".
enum { first_lock = 120, last_lock = 127 };

// Every fcntl of SQLite has one argument more, of the size of a pointer at most.
static int our_fcntl(int fd, int cmd, ...) {
	va_list more;
	va_start(more, cmd);
	void *arg = va_arg(more, void *);
	va_end(more);
	if (cmd == F_SETLK) {
		struct flock *l = arg;
		if (l->l_type == F_UNLCK && l->l_start >= first_lock && l->l_start <= last_lock && fails(1)) return -1;
	}
	return fcntl(fd, cmd, arg);
}

// While locks fail SQLite does not wait between two tries, which would be ten seconds.
static int our_sleep(sqlite3_vfs *vfs, int us) {
	return __atomic_load_n(&fail_unlocks, __ATOMIC_SEQ_CST) ? us : real_sleep(vfs, us);
}

int faults_install(void) {
	static int done;
	sqlite3_vfs *vfs;
	if (done) return 0;
	sqlite3_initialize();
	vfs = sqlite3_vfs_find("unix");
	if (!vfs || vfs->iVersion < 3) return 1;
	if (vfs->xSetSystemCall(vfs, "write", (sqlite3_syscall_ptr)our_write)
	 || vfs->xSetSystemCall(vfs, "pwrite", (sqlite3_syscall_ptr)our_pwrite)
	 || vfs->xSetSystemCall(vfs, "pwrite64", (sqlite3_syscall_ptr)our_pwrite)
	 || vfs->xSetSystemCall(vfs, "fcntl", (sqlite3_syscall_ptr)our_fcntl)
	 || vfs->xSetSystemCall(vfs, "ftruncate", (sqlite3_syscall_ptr)our_ftruncate)
	 || vfs->xSetSystemCall(vfs, "unlink", (sqlite3_syscall_ptr)our_unlink)) return 1;
	real_sleep = vfs->xSleep;
	vfs->xSleep = our_sleep;
	done = 1;
	return 0;
}

void faults_begin(int at, int error, int on, int torn, int unlocks) {
	fail_with = error; fail_on = on; fail_torn = torn;
	__atomic_store_n(&count, 0, __ATOMIC_SEQ_CST);
	__atomic_store_n(&fail_unlocks, unlocks, __ATOMIC_SEQ_CST);
	__atomic_store_n(&fail_at, at, __ATOMIC_SEQ_CST);
}

int faults_end(void) {
	__atomic_store_n(&fail_unlocks, 0, __ATOMIC_SEQ_CST);
	__atomic_store_n(&fail_at, 0, __ATOMIC_SEQ_CST);
	return __atomic_load_n(&count, __ATOMIC_SEQ_CST);
}
