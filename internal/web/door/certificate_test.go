package door

import (
	"crypto/ecdsa"
	"crypto/tls"
	"crypto/x509"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestCertificate(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	now := time.Now()
	here := []net.IP{net.IPv4(127, 0, 0, 1), net.ParseIP("fd00::7")}
	first, print, err := Certificate(dir, here, now)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := first.PrivateKey.(*ecdsa.PrivateKey); !ok || len(print) != 95 {
		t.Errorf("a key of %T, fingerprint %s", first.PrivateKey, print)
	}
	info, err := os.Stat(filepath.Join(dir, certificateFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file: %v, %v", info.Mode(), err)
	}
	folder, err := os.Stat(dir)
	if err != nil || folder.Mode().Perm() != 0o700 {
		t.Errorf("its folder: %v, %v", folder.Mode(), err)
	}
	again := func(addresses []net.IP, at time.Time) string {
		t.Helper()
		_, p, err := Certificate(dir, addresses, at)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if again(here, now) != print || again(here[:1], now.Add(certificateFor/2)) != print {
		t.Error("a valid certificate was not used again")
	}

	// A browser that knows the certificate gets through, one that does not does not.
	s := httptest.NewUnstartedServer(http.NotFoundHandler())
	s.TLS = &tls.Config{Certificates: []tls.Certificate{first}}
	s.StartTLS()
	defer s.Close()
	known := x509.NewCertPool()
	known.AddCert(first.Leaf)
	for _, pool := range []*x509.CertPool{known, x509.NewCertPool()} {
		client := http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}}}
		resp, err := client.Get(s.URL)
		if (err == nil) != (pool == known) {
			t.Errorf("known %v: %v", pool == known, err)
		}
		if err == nil {
			resp.Body.Close()
		}
	}

	next := again(append(here, net.IPv4(192, 168, 1, 9)), now)
	if next == print {
		t.Error("the certificate does not name the new address")
	}
	if again(here, now.Add(certificateFor-renewBefore+time.Hour)) == next {
		t.Error("a certificate about to expire was used")
	}
}

func TestCertificateRefused(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, certificateFile)
	now, here := time.Now(), []net.IP{net.IPv4(127, 0, 0, 1)}
	if _, _, err := Certificate(dir, here, now); err != nil {
		t.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for what, spoil := range map[string]func() error{
		"others can read its key": func() error { return os.Chmod(path, 0o644) },
		"delete the file":         func() error { return os.WriteFile(path, good[:len(good)/2], 0o600) },
		"others can read":         func() error { os.Remove(path); return os.Symlink("/etc/hostname", path) },
		"--data":                  func() error { os.Remove(path); return os.RemoveAll(dir) },
	} {
		os.MkdirAll(dir, 0o700)
		os.Remove(path)
		if err := os.WriteFile(path, good, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		in := dir
		if what == "--data" {
			in = "/proc/waycall"
		}
		if _, _, err := Certificate(in, here, now); err == nil || !strings.Contains(err.Error(), what) || !strings.HasPrefix(err.Error(), "certificate for the local network, ") {
			t.Errorf("want %q, got %v", what, err)
		}
	}
}
