package main

import (
	"context"
	"fmt"
	"log/slog"
	"net"
	"os/exec"

	"github.com/spf13/cobra"

	"waycall/internal/command"
	"waycall/internal/jobs"
	"waycall/internal/web"
	"waycall/internal/web/door"
	"waycall/internal/web/entrance"
	"waycall/internal/web/jobcache"
)

// reviewOptions are the flags of waycall review.
type reviewOptions struct {
	data    dataFlag
	addr    string
	browser bool
	lan     bool
	verbose bool
}

func newReview() *cobra.Command {
	var o reviewOptions
	cmd := &cobra.Command{
		Use:   "review",
		Short: "Set up and review jobs in the browser: listen, correct, sign off, hand over",
		Long: `Starts a web server on this machine and prints its address. A job can be set up there:
from a blank or a usual board, an earlier job, or a table. The pages show each job
with its boards, every reading with its sound, what needs a person, and the schedule;
a reading is corrected, taken off or let stand with a reason and initials, and the job
is signed off. Every change is added to the record; nothing is replaced. The live view
follows a running session.

Only this machine reaches the server, and only a browser that opened the printed
address with its key. --lan lets devices of the local network in as well, such as a
tablet beside the board: by TLS, with a certificate that waycall makes, and only
after a code that is printed here was typed on the device. Enter prints a new code.
Who pairs a device may do all that you may.

Ctrl-C ends it. Nothing is fetched from any network.`,
		Example: "  waycall review\n  waycall review --addr 127.0.0.1:8420\n  waycall review --lan",
		Args:    command.Args(0, 0, "no arguments"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReview(cmd.Context(), streamsOf(cmd), o)
		},
	}
	o.data.add(cmd)
	cmd.Flags().StringVar(&o.addr, "addr", "127.0.0.1:0", "address to listen on; port 0 takes a free one")
	cmd.Flags().BoolVar(&o.browser, "open", false, "open the address in the browser")
	cmd.Flags().BoolVar(&o.lan, "lan", false, "let devices of the local network in, after pairing")
	cmd.Flags().BoolVarP(&o.verbose, "verbose", "v", false, "print the kind of each request")
	return cmd
}

func runReview(ctx context.Context, std streams, o reviewOptions) error {
	folder, err := o.data.folder()
	if err != nil {
		return err
	}
	ln, err := entrance.ListenHere(o.addr)
	if err != nil {
		return err
	}
	defer ln.Close()
	// What is logged names no job, no person and no key: package web sees to it.
	level := slog.LevelWarn
	if o.verbose {
		level = slog.LevelInfo
	}
	log := slog.New(slog.NewTextHandler(std.err, &slog.HandlerOptions{Level: level}))
	pages := jobcache.NewFolder(string(folder))
	key, once := door.NewKey(), door.NewKey()
	here, err := web.New(web.Options{Jobs: pages, Hosts: entrance.HostsOf(ln.Addr()), Key: key, Once: once, Log: log})
	if err != nil {
		return err
	}
	doors := []*entrance.Entrance{entrance.New([]net.Listener{ln}, here, log, nil)}
	base := "http://" + ln.Addr().String()
	fmt.Fprintf(std.out, "Review: %s/enter/%s\nOnly this machine reaches it; the address is your key, so keep it to yourself. Ctrl-C ends it.\n", base, key)
	if o.lan {
		paired, err := o.local(std, folder, pages, log)
		if err != nil {
			return err
		}
		doors = append(doors, paired)
	}
	if o.browser {
		if err := exec.Command("xdg-open", base+"/enter/"+once).Start(); err != nil {
			fmt.Fprintf(std.err, "waycall: the browser could not be started: %v; open the address yourself\n", err)
		}
	}
	if err := entrance.Run(ctx, doors); err != nil {
		return err
	}
	fmt.Fprintln(std.out, "Review ended.")
	return nil
}

// local opens the door for devices of the local network, and prints how they come in.
func (o *reviewOptions) local(std streams, folder jobs.Folder, pages *jobcache.Folder, log *slog.Logger) (*entrance.Entrance, error) {
	out := std.out
	if err := folder.Make(); err != nil {
		return nil, err
	}
	lan, err := entrance.OpenLocal(string(folder))
	if err != nil {
		return nil, err
	}
	code := door.NewCode()
	d, err := web.New(web.Options{Jobs: pages, Hosts: lan.Hosts, Secure: true, Code: code, Log: log, Paired: func(err error) {
		if err == nil {
			fmt.Fprintln(out, "A device was paired. Enter prints a code for another.")
		} else {
			fmt.Fprintf(out, "A device was not paired: %v\n", err)
		}
	}})
	if err != nil {
		return nil, err
	}
	fmt.Fprintln(out, "From the local network:")
	for _, h := range lan.Hosts {
		fmt.Fprintf(out, "  https://%s/pair\n", h)
	}
	fmt.Fprintf(out, "The device warns of a certificate that nobody vouches for. Its SHA-256 must be\n  %s\n", lan.Fingerprint)
	entrance.Codes(code, std.in, func(text string, minutes int) {
		fmt.Fprintf(out, "Code to type there: %s (once, within %d minutes; Enter prints a new one)\n", text, minutes)
	})
	return entrance.New(lan.Listeners, d, log, &lan.Cert), nil
}
