// Package entrance is one way in to the pages of package web: where it listens, what it is
// called there, and how it begins and ends to answer.
package entrance

import (
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"net/http"
	"time"

	"waycall/internal/advice"
	"waycall/internal/mishap"
	"waycall/internal/web"
)

// Entrance is one way in: where it listens, what it is called there, and its pages.
type Entrance struct {
	listeners []net.Listener
	pages     *web.Server
	server    *http.Server
}

// New makes one; cert is nil where there is no TLS.
func New(listeners []net.Listener, options web.Options, cert *tls.Certificate) (*Entrance, error) {
	pages, err := web.New(options)
	if err != nil {
		return nil, err
	}
	server := &http.Server{
		Handler: pages, ErrorLog: slog.NewLogLogger(options.Log.Handler(), slog.LevelInfo),
		ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	if cert != nil {
		server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{*cert}, MinVersion: tls.VersionTLS12}
	}
	return &Entrance{listeners, pages, server}, nil
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

// Close lets what is being answered come to its end, but not for long.
func (d *Entrance) Close() {
	d.pages.Close() // live views would never end
	end, cancel := context.WithTimeout(context.Background(), 3*time.Second)
	defer cancel()
	if d.server.Shutdown(end) != nil {
		d.server.Close()
	}
}

// ListenAll listens at each address of the local network, and at no other that the
// machine may have, on one port.
func ListenAll(addresses []net.IP) (listeners []net.Listener, hosts []string, err error) {
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
