// This file makes and keeps the certificate under which the local network reaches the
// review.

package door

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/renameio/v2"
)

// certificateFile is in the folder for this machine's certificate; the key is beside
// the certificate in the one file, so that the two always belong together.
const certificateFile = "review-tls.pem"

const (
	certificateFor = 397 * 24 * time.Hour // what browsers take of a certificate at most
	renewBefore    = 14 * 24 * time.Hour
)

// Certificate returns the certificate under which this machine is reached at the
// given addresses, and its fingerprint, to be compared with what a device shows that
// is paired: no authority vouches for it. It is kept in dir, readable by its owner
// alone, and used again while it is valid and names all addresses; else a new one is
// made, with a new key. A file there that others can read is refused, as its key may
// be known.
func Certificate(dir string, addresses []net.IP, now time.Time) (cert tls.Certificate, fingerprint string, err error) {
	path := filepath.Join(dir, certificateFile)
	cert, err = readCertificate(path)
	if err == nil && !serves(cert.Leaf, addresses, now) || errors.Is(err, fs.ErrNotExist) {
		cert, err = makeCertificate(path, addresses, now)
	}
	if err != nil {
		return tls.Certificate{}, "", fmt.Errorf("certificate for the local network, %s: %w", path, err)
	}
	return cert, fingerprintOf(cert.Leaf.Raw), nil
}

func readCertificate(path string) (tls.Certificate, error) {
	info, err := os.Lstat(path)
	if err != nil {
		return tls.Certificate{}, err
	}
	if !info.Mode().IsRegular() || info.Mode().Perm()&0o077 != 0 {
		return tls.Certificate{}, errors.New("others can read its key; delete the file, and a new one is made")
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return tls.Certificate{}, err
	}
	cert, err := tls.X509KeyPair(b, b)
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("%w; delete the file, and a new one is made", err)
	}
	return cert, nil
}

// serves says whether a certificate will do for the addresses.
func serves(leaf *x509.Certificate, addresses []net.IP, now time.Time) bool {
	if now.Before(leaf.NotBefore) || now.Add(renewBefore).After(leaf.NotAfter) {
		return false
	}
	for _, ip := range addresses {
		if !slices.ContainsFunc(leaf.IPAddresses, ip.Equal) {
			return false
		}
	}
	return true
}

func makeCertificate(path string, addresses []net.IP, now time.Time) (tls.Certificate, error) {
	var none tls.Certificate
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return none, err
	}
	serial, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 120))
	if err != nil {
		return none, err
	}
	form := &x509.Certificate{
		SerialNumber:          serial,
		Subject:               pkix.Name{CommonName: "waycall review on this network"},
		NotBefore:             now.Add(-time.Hour), // the device's clock may be behind
		NotAfter:              now.Add(certificateFor),
		KeyUsage:              x509.KeyUsageDigitalSignature,
		ExtKeyUsage:           []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true,
		DNSNames:              []string{"localhost"},
		IPAddresses:           addresses,
	}
	der, err := x509.CreateCertificate(rand.Reader, form, form, &key.PublicKey, key)
	if err != nil {
		return none, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return none, err
	}
	text := append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return none, fmt.Errorf("%w; name a folder that can be written to with --data", err)
	}
	if err := renameio.WriteFile(path, text, 0o600, renameio.IgnoreUmask()); err != nil {
		return none, fmt.Errorf("%w; make room, or name another folder with --data", err)
	}
	return tls.X509KeyPair(text, text)
}

// fingerprintOf is the SHA-256 of a certificate as browsers show it.
func fingerprintOf(der []byte) string {
	sum := sha256.Sum256(der)
	parts := make([]string, len(sum))
	for i, b := range sum {
		parts[i] = fmt.Sprintf("%02X", b)
	}
	return strings.Join(parts, ":")
}

// Addresses returns the addresses under which other devices of the local network
// reach this machine, the loopback ones excepted: those of private use (RFC 1918,
// RFC 4193) alone, as the review is for no other network.
func Addresses() ([]net.IP, error) {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil, fmt.Errorf("addresses of this machine: %w; check its network, or leave --lan out", err)
	}
	var own []net.IP
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsPrivate() {
			own = append(own, n.IP)
		}
	}
	if len(own) == 0 {
		return nil, errors.New("addresses of this machine: none of a local network; join one, or leave --lan out")
	}
	return own, nil
}
