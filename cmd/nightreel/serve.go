package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/web"
)

func (e *env) serveCommand() *cli.Command {
	return &cli.Command{
		Name:  "serve",
		Usage: "the local web app: see the tour, judge the night, build the session, run the transport",
		Description: "Listens on this machine only, unless --listen names a network address. There a pass-phrase is\n" +
			"needed, one to look and listen, one to operate: from the environment (NIGHTREEL_LOOK,\n" +
			"NIGHTREEL_OPERATE), or made up and printed. Ends with Ctrl-C.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "listen", Usage: "`ADDRESS` as host:port; port 0 takes a free one", Value: "127.0.0.1:8420"},
			&cli.StringSliceFlag{Name: "host", Usage: "another `NAME` that the server is opened by"},
			&cli.StringSliceFlag{Name: "folder", Usage: "a `DIR` that may be scanned from the web app, beside those scanned before"},
			&cli.StringFlag{Name: "renders", Usage: "`DIR` that sessions are rendered below", DefaultText: "sessions, beside the catalog"},
		},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			if _, _, err := net.SplitHostPort(c.String("listen")); err != nil {
				return &usageError{command: commandPath(c), text: fmt.Sprintf("--listen: %q is no address as host:port, such as 127.0.0.1:8420", c.String("listen"))}
			}
			for _, dir := range c.StringSlice("folder") {
				if st, err := os.Stat(dir); err != nil || !st.IsDir() {
					return &usageError{command: commandPath(c), text: fmt.Sprintf("--folder: %q is no folder; is its drive mounted?", dir)}
				}
			}
			with := e.withNew // whoever starts with the web app has none yet
			if c.String("catalog") != "" {
				with = e.withStore // a name may be mistyped
			}
			return with(c, func(store *catalog.Store) error { return e.serve(c, store) })
		},
	}
}

func (e *env) serve(c *cli.Context, store *catalog.Store) error {
	opt := web.Options{
		Store: store, Hosts: c.StringSlice("host"), Folders: c.StringSlice("folder"), Renders: c.String("renders"), Now: time.Now,
		Log: slog.New(slog.NewTextHandler(e.stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
	}
	opt.Devices = func(ctx context.Context) []string {
		all, err := playback.Devices(ctx, nil)
		if err != nil {
			opt.Log.Warn("sound devices not listed", "error", err)
		}
		names := []string{}
		for _, d := range all {
			names = append(names, d.Name)
		}
		return names
	}
	local := web.Loopback(c.String("listen"))
	if local {
		opt.AnyFolder = true // whoever reaches it sits at this machine
	} else {
		opt.Look, opt.Operate = phrase("NIGHTREEL_LOOK"), phrase("NIGHTREEL_OPERATE")
	}
	l, err := (&net.ListenConfig{}).Listen(c.Context, "tcp", c.String("listen"))
	if err != nil {
		return &listenError{c.String("listen"), err}
	}
	defer l.Close()
	s, err := web.New(c.Context, opt)
	if err != nil {
		return err
	}
	defer s.Close()
	e.printf("nightreel is at %s with %s; Ctrl-C ends it\n", strings.Join(addresses(l.Addr()), " and "), store.Path())
	if !local {
		e.printf("to look and listen: %s\nto operate:         %s\nThe line is not encrypted: use it on a network that you trust.\n", opt.Look, opt.Operate)
	}
	return s.Serve(c.Context, l) // nil after Ctrl-C, which is how it is meant to end
}

// listenError says that no address could be listened on.
type listenError struct {
	address string
	err     error
}

func (e *listenError) Error() string {
	return fmt.Sprintf("could not serve at %s: %v", e.address, e.err)
}
func (e *listenError) Unwrap() error { return e.err }

// Hint says what to do about it.
func (e *listenError) Hint() string {
	if errors.Is(e.err, syscall.EADDRINUSE) {
		return "another program, or another nightreel serve, listens there: end it, or name another port: --listen 127.0.0.1:8421; port 0 takes a free one"
	}
	return "--listen HOST:PORT takes an address of this machine; 127.0.0.1:8420 if not given"
}

// addresses are what a browser opens: where all of this machine's addresses are
// listened on, each of them.
func addresses(a net.Addr) []string {
	tcp, ok := a.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return []string{fmt.Sprintf("http://%s/", a)}
	}
	all := []string{}
	own, _ := net.InterfaceAddrs()
	for _, o := range own {
		if ip, ok := o.(*net.IPNet); ok && ip.IP.To4() != nil && !ip.IP.IsLoopback() {
			all = append(all, fmt.Sprintf("http://%s/", net.JoinHostPort(ip.IP.String(), strconv.Itoa(tcp.Port))))
		}
	}
	if len(all) == 0 {
		return []string{fmt.Sprintf("http://%s/", a)}
	}
	return all
}

// phrase returns a pass-phrase from the environment, or makes one up: twelve
// letters and digits, 60 bits, in groups that can be read out across a room.
func phrase(variable string) string {
	if p := strings.TrimSpace(os.Getenv(variable)); p != "" {
		return p
	}
	text := strings.ToLower(rand.Text())
	return text[:4] + "-" + text[4:8] + "-" + text[8:12]
}
