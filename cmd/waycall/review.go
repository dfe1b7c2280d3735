package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os/exec"
	"time"

	"github.com/spf13/cobra"

	"waycall/internal/web"
)

func newReview() *cobra.Command {
	var (
		data    dataFlag
		addr    string
		browser bool
		verbose bool
		onLAN   bool
	)
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Review jobs in the browser: listen, correct, sign off, hand over",
		Long: `Starts a web server on this machine and prints its address. Its pages show each job
with its boards, every reading with its sound, what needs a person, and the
schedule; a reading is corrected, taken off or let stand with a reason and initials,
and the job is signed off. Every change is added to the record; nothing is replaced.

Only this machine reaches the server, and only a browser that opened the printed
address with its key. Ctrl-C ends it. Nothing is fetched from the network.

With --lan other devices of the local network reach it too, such as a tablet on a
stand for the live view of a session. They do so by TLS alone, under a certificate
that this machine makes and whose fingerprint is printed, and each is paired first
with a code that is shown here, works once and expires.`,
		Example: "  waycall review\n  waycall review --addr 127.0.0.1:8420\n  waycall review --lan",
		Args:    wantArgs(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			dir, err := data.folder()
			if err != nil {
				return err
			}
			ln, err := listen(addr)
			if err != nil {
				return err
			}
			defer ln.Close()
			var net *network
			if onLAN {
				if net, err = joinLAN(dir, ln); err != nil {
					return err
				}
				defer net.close()
			}
			return review(cmd, ln, net, web.NewFolder(dir), browser, verbose)
		},
	}
	data.add(cmd)
	cmd.Flags().StringVar(&addr, "addr", "127.0.0.1:0", "address to listen on; port 0 takes a free one")
	cmd.Flags().BoolVar(&onLAN, "lan", false, "also let paired devices of the local network reach it")
	cmd.Flags().BoolVar(&browser, "open", false, "open the address in the browser")
	cmd.Flags().BoolVarP(&verbose, "verbose", "v", false, "print the kind of each request")
	return cmd
}

// listen opens the address to serve on, of this machine alone.
func listen(addr string) (net.Listener, error) {
	host, _, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, usageError{fmt.Errorf("--addr is %q; give an address with a port, such as 127.0.0.1:8420", addr)}
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, usageError{fmt.Errorf("--addr %s can be reached from other machines; use 127.0.0.1", addr)}
	}
	ln, err := net.Listen("tcp", addr)
	if err != nil {
		return nil, fmt.Errorf("could not listen on %s: %w; choose another port with --addr", addr, err)
	}
	return ln, nil
}

// review serves until the context of cmd ends; on is nil but with --lan.
func review(cmd *cobra.Command, ln net.Listener, on *network, jobs *web.Folder, browser, verbose bool) error {
	ctx, errOut := cmd.Context(), cmd.ErrOrStderr()
	// What is logged names no job, no person and no key: package web sees to it.
	level := slog.LevelWarn
	if verbose {
		level = slog.LevelInfo
	}
	log := slog.New(slog.NewTextHandler(errOut, &slog.HandlerOptions{Level: level}))
	key, once := web.NewKey(), web.NewKey()
	options := web.Options{Jobs: jobs, Hosts: hostsOf(ln.Addr()), Key: key, Once: once, Log: log}
	base, reach := "http://"+ln.Addr().String(), "Only this machine reaches it"
	if on != nil {
		base, reach = "https://"+ln.Addr().String(), "This is the address for this machine"
		on.options(&options, cmd.OutOrStdout())
	}
	pages, err := web.New(options)
	if err != nil {
		return err
	}
	defer pages.Close()
	server := &http.Server{
		Handler: pages, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelInfo),
		ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10,
	}
	fmt.Fprintf(cmd.OutOrStdout(), "Review: %s/enter/%s\n%s; the address is your key, so keep it to yourself. Ctrl-C ends it.\n", base, key, reach)
	if browser {
		if err := exec.Command("xdg-open", base+"/enter/"+once).Start(); err != nil {
			fmt.Fprintf(errOut, "waycall: the browser could not be started: %v; open the address yourself\n", err)
		}
	}
	done := make(chan error, 1)
	if on == nil {
		go func() { done <- server.Serve(ln) }()
	} else {
		on.serve(server, ln, done)
		on.invite(cmd.InOrStdin(), cmd.OutOrStdout())
	}
	select {
	case err := <-done:
		return fmt.Errorf("the server stopped: %w; start it again", err)
	case <-ctx.Done():
	}
	pages.Close() // live views would hold the server up
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
	defer cancel()
	if err := server.Shutdown(end); err != nil {
		server.Close()
	}
	fmt.Fprintln(cmd.OutOrStdout(), "Review ended.")
	return nil
}

// hostsOf returns what a browser at this machine may call a server at an address.
func hostsOf(a net.Addr) []string {
	_, port, err := net.SplitHostPort(a.String())
	if err != nil {
		return []string{a.String()}
	}
	hosts := []string{a.String()}
	for _, name := range []string{"127.0.0.1", "localhost", "::1"} {
		hosts = append(hosts, net.JoinHostPort(name, port))
	}
	return hosts
}
