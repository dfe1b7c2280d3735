// Package entrance is one way in to pages, those of package web or of package phone: where
// it listens, what it is called there, and how it begins and ends to answer.
package entrance

import (
	"bufio"
	"context"
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"waycall/internal/advice"
	"waycall/internal/command"
	"waycall/internal/mishap"
	"waycall/internal/web/door"
)

// Entrance is one way in: where it listens, what it is called there, and its pages.
type Entrance struct {
	listeners []net.Listener
	pages     Pages
	server    *http.Server
}

// Pages answer. Close ends those answers that would never end, such as live views.
type Pages interface {
	http.Handler
	Close()
}

// New makes one; cert is nil where there is no TLS.
func New(listeners []net.Listener, pages Pages, log *slog.Logger, cert *tls.Certificate) *Entrance {
	server := &http.Server{
		Handler: pages, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelInfo),
		ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	if cert != nil {
		server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*cert}, MinVersion: tls.VersionTLS12}
	}
	return &Entrance{listeners, pages, server}
}

// Serve answers at each address, and tells done when it no longer does.
func (d *Entrance) Serve(done chan<- error) {
	for _, ln := range d.listeners {
		go mishap.Caught("serve the pages", func(err error) {
			mishap.Note(err)
			done <- err
		}, func() {
			if d.server.TLSConfig != nil {
				done <- d.server.ServeTLS(ln, "", "")
			} else {
				done <- d.server.Serve(ln)
			}
		})()
	}
}

// Run answers at all the doors until ctx ends, or one of them fails: then the error says so.
// What is being answered then comes to its end.
func Run(ctx context.Context, doors []*Entrance) (stopped error) {
	done := make(chan error, 64) // more than there are addresses; only the first is read
	for _, d := range doors {
		d.Serve(done)
	}
	select {
	case err := <-done:
		stopped = fmt.Errorf("the server stopped: %w; start it again", err)
	case <-ctx.Done():
	}
	var closing sync.WaitGroup
	for _, d := range doors {
		closing.Go(mishap.Caught("close the server", mishap.Note, d.Close))
	}
	closing.Wait()
	return stopped
}

// Close lets what is being answered come to its end, but not for long.
func (d *Entrance) Close() {
	d.pages.Close()
	end, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	if d.server.Shutdown(end) != nil {
		d.server.Close()
	}
}

// ListenHere opens the address to serve on, of this machine alone.
func ListenHere(addr string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, command.UsageError{Err: fmt.Errorf("--addr is %q; give an address with a port, such as 127.0.0.1:8420", addr)}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, command.UsageError{Err: fmt.Errorf("--addr %s can be reached from other machines; give one of this machine alone, such as 127.0.0.1:8420, and --lan for the local network", addr)}
	}
	ln, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("could not listen on %s: %w; choose another port with --addr", addr, err)
	}
	return ln, nil
}

// Codes makes a code that lets a device in, has it shown, and makes another for each line
// that is entered.
func Codes(code *door.Code, in io.Reader, show func(text string, minutes int)) {
	make := func() {
		text, valid := code.Make()
		show(text, int(valid.Minutes()))
	}
	make()
	go mishap.Caught("take a line from the terminal", mishap.Note, func() {
		for lines := bufio.NewScanner(in); lines.Scan(); {
			make()
		}
	})()
}

// Local is where the local network comes in.
type Local struct {
	Listeners   []net.Listener
	Hosts       []string // what it is called there, with the port
	Cert        tls.Certificate
	Fingerprint string // of Cert, to be compared with what a device shows
}

// OpenLocal listens on the local network; dir is the folder that keeps the certificate.
func OpenLocal(dir string) (Local, error) {
	addresses, err := door.Addresses()
	if err != nil {
		return Local{}, err
	}
	var l Local
	if l.Cert, l.Fingerprint, err = door.Certificate(dir, addresses, time.Now()); err != nil {
		return Local{}, err
	}
	l.Listeners, l.Hosts, err = listenAll(addresses)
	return l, err
}

// listenAll listens at each address of the local network, and at no other that the
// machine may have, on one port.
func listenAll(addresses []net.IP) (listeners []net.Listener, hosts []string, err error) {
	port := "0"
	for _, a := range addresses {
		ln, err := net.Listen("tcp", net.JoinHostPort(a.String(), port))
		if err != nil {
			for _, open := range listeners {
				open.Close()
			}
			return nil, nil, advice.Errorf("try again, or without --lan", "could not listen on the local network: %w", err)
		}
		listeners, hosts = append(listeners, ln), append(hosts, ln.Addr().String())
		if _, port, err = net.SplitHostPort(ln.Addr().String()); err != nil {
			return nil, nil, err
		}
	}
	return listeners, hosts, nil
}

// HostsOf returns what a browser at this machine may call a server at an address.
func HostsOf(a net.Addr) []string {
	hosts := []string{a.String()}
	if _, port, err := net.SplitHostPort(a.String()); err == nil {
		for _, name := range []string{"127.0.0.1", "localhost", "::1"} {
			hosts = append(hosts, net.JoinHostPort(name, port))
		}
	}
	return hosts
}
