package phone

import (
	"crypto/tls"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"

	"rsc.io/qr"

	"waycall/internal/web/door"
	"waycall/internal/web/entrance"
)

// Open is the page of a phone, served on the local network and at this machine.
type Open struct {
	Line    *Line
	servers []*Server
	doors   []*entrance.Entrance
}

// Serve opens it, and prints on out where it is and the code that lets a phone in; a line
// on in prints another code. dir is the folder of the certificate. Without a local network
// it is reached at this machine alone, as by USB. Close ends it.
func Serve(dir string, in io.Reader, out io.Writer) (_ *Open, err error) {
	log := slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: slog.LevelError}))
	o := &Open{Line: NewLine()}
	defer func() {
		if err != nil {
			o.Close()
		}
	}()
	own, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, fmt.Errorf("could not listen at this machine: %w", err)
	}
	key := door.NewKey()
	o.add([]net.Listener{own}, Options{Hosts: entrance.HostsOf(own.Addr()), Key: key, Log: log}, nil)
	_, port, err := net.SplitHostPort(own.Addr().String())
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(out, "By USB, after adb reverse tcp:%s tcp:%s: http://localhost:%s/enter/%s\n", port, port, port, key)
	if err := o.network(dir, in, out, log); err != nil {
		fmt.Fprintf(out, "No phone can come in by the local network: %v\n", err)
	}
	done := make(chan error, 64) // more than there are addresses
	for _, d := range o.doors {
		d.Serve(done)
	}
	return o, nil
}

// add makes one way in more.
func (o *Open) add(at []net.Listener, options Options, cert *tls.Certificate) {
	pages := NewServer(o.Line, options)
	o.servers = append(o.servers, pages)
	o.doors = append(o.doors, entrance.New(at, pages, options.Log, cert))
}

// network opens it on the local network.
func (o *Open) network(dir string, in io.Reader, out io.Writer, log *slog.Logger) error {
	local, err := entrance.OpenLocal(dir)
	if err != nil {
		return err
	}
	code := door.NewCode()
	o.add(local.Listeners, Options{Hosts: local.Hosts, Secure: true, Code: code, Log: log, Paired: func(err error) {
		if err == nil {
			fmt.Fprintln(out, "A phone was let in.")
		} else {
			fmt.Fprintf(out, "A phone was not let in: %v\n", err)
		}
	}}, &local.Cert)
	entrance.Codes(code, in, func(text string, minutes int) {
		for _, h := range local.Hosts {
			address := fmt.Sprintf("https://%s/pair?code=%s", h, text)
			fmt.Fprintf(out, "%s\nWith the phone's camera, or open %s\n", picture(address), address)
		}
		fmt.Fprintf(out, "The code serves once, within %d minutes; Enter shows a new one. The phone warns of a\ncertificate that nobody vouches for. Its SHA-256 must be\n  %s\n", minutes, local.Fingerprint)
	})
	return nil
}

// Show is told what the pages are to show, at each way in.
func (o *Open) Show(v View) {
	for _, s := range o.servers {
		s.Show(v)
	}
}

// Close ends the pages and the line.
func (o *Open) Close() {
	o.Line.Close()
	for _, d := range o.doors {
		d.Close()
	}
}

// picture is a QR code (ISO/IEC 18004) of a text for a terminal, two rows of it to a line,
// dark on light whatever the terminal's own colours; "" for a text that is too long.
func picture(text string) string {
	code, err := qr.Encode(text, qr.L)
	if err != nil {
		return ""
	}
	const margin = 2
	dark := func(x, y int) bool { return code.Black(x-margin, y-margin) }
	var b strings.Builder
	for y := 0; y < code.Size+2*margin; y += 2 {
		b.WriteString("\x1b[30;107m")
		for x := range code.Size + 2*margin {
			switch up, down := dark(x, y), dark(x, y+1); {
			case up && down:
				b.WriteString("█")
			case up:
				b.WriteString("▀")
			case down:
				b.WriteString("▄")
			default:
				b.WriteString(" ")
			}
		}
		b.WriteString("\x1b[0m\n")
	}
	return strings.TrimSuffix(b.String(), "\n")
}
