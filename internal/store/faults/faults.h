int faults_install(void);
void faults_begin(int at, int error, int on, int torn, int unlocks);
int faults_end(void);
