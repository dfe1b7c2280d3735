package main

import (
	"bufio"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"slices"
	"sync"
	"time"

	"waycall/internal/web"
)

// network is what waycall review --lan needs beside what it needs without.
type network struct {
	listeners   []net.Listener // on each address of the local network
	cert        tls.Certificate
	fingerprint string
	code        *web.Code
	out         sync.Mutex // one line at a time
}

// joinLAN listens on this machine's addresses of the local network, at the port of
// ln, and has a certificate for them. dir is the folder of jobs.
func joinLAN(dir string, ln net.Listener) (*network, error) {
	addresses, err := web.Addresses()
	if err != nil {
		return nil, err
	}
	n := &network{code: web.NewCode()}
	n.cert, n.fingerprint, err = web.Certificate(dir, slices.Concat(addresses, []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}), time.Now())
	if err != nil {
		return nil, err
	}
	_, port, err := net.SplitHostPort(ln.Addr().String())
	if err != nil {
		return nil, err
	}
	var last error
	for _, ip := range addresses {
		l, err := net.Listen("tcp", net.JoinHostPort(ip.String(), port))
		if err != nil {
			last = err // an address that just went is no reason to refuse the others
			continue
		}
		n.listeners = append(n.listeners, l)
	}
	if len(n.listeners) == 0 {
		return nil, fmt.Errorf("could not listen on the local network: %w; choose another port with --addr, or leave --lan out", last)
	}
	return n, nil
}

func (n *network) close() {
	for _, l := range n.listeners {
		l.Close()
	}
}

// options sets what the pages need.
func (n *network) options(o *web.Options, out io.Writer) {
	for _, l := range n.listeners {
		o.Hosts = append(o.Hosts, l.Addr().String())
	}
	o.Secure, o.Code = true, n.code
	o.Paired = func(err error) {
		switch {
		case err == nil:
			n.say(out, "A device was paired. Press Enter for a code for another one.\n")
		case errors.Is(err, web.ErrSpoilt):
			n.say(out, "Wrong codes were given, and the code is spoilt. Press Enter for a new one.\n")
		case errors.Is(err, web.ErrOldCode):
			n.say(out, "An expired code was given. Press Enter for a new one.\n")
		}
	}
}

func (n *network) say(out io.Writer, format string, args ...any) {
	n.out.Lock()
	defer n.out.Unlock()
	fmt.Fprintf(out, format, args...)
}

// serve serves by TLS alone, on ln and on the local network.
func (n *network) serve(server *http.Server, ln net.Listener, done chan<- error) {
	server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{n.cert}, MinVersion: tls.VersionTLS12}
	var once sync.Once
	for _, l := range append([]net.Listener{ln}, n.listeners...) {
		go func() {
			err := server.ServeTLS(l, "", "")
			once.Do(func() { done <- err })
		}()
	}
}

// invite shows a code, and another one with each line of in.
func (n *network) invite(in io.Reader, out io.Writer) {
	show := func() {
		code, valid := n.code.Make()
		n.say(out, "Code to pair a device: %s (once, within %d minutes; press Enter for a new one)\n", code, int(valid.Minutes()))
	}
	for _, l := range n.listeners {
		n.say(out, "On the local network: https://%s/pair\n", l.Addr())
	}
	n.say(out, "The browser there warns that it does not know the certificate. Go on only if the SHA-256\nfingerprint that it shows is\n  %s\n", n.fingerprint)
	show()
	go func() {
		for lines := bufio.NewScanner(in); lines.Scan(); {
			show()
		}
	}()
}
