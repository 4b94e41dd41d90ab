// Command nightreel measures a tour's multitrack recordings, finds its songs,
// judges its channels, and puts a chosen take back on the desk's inputs.
//
// The program holds no judgement of its own: each command asks one function of
// the packages below and prints the result, as a table or as one JSON document
// (--json). Start reading at [run] and app.go.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"golang.org/x/term"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

func main() {
	// One more than there are processors. Measuring runs in C, a block at a time;
	// as long as a place is free the scheduler leaves the others' alone there,
	// instead of waking threads to take them over: a tenth of a scan's time.
	runtime.GOMAXPROCS(runtime.GOMAXPROCS(0) + 1)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	done := make(chan int, 1)
	go func() { done <- run(ctx, os.Args[1:], os.Stdout, os.Stderr, term.IsTerminal(int(os.Stderr.Fd()))) }()
	status := waitFor(ctx, done, &env{stderr: &output{to: os.Stderr}})
	stop()
	os.Exit(status)
}

// patience is how long an interrupted command waits for one answer of a file
// system. A disk that has to spin up is slower, but then nothing was read that
// would be lost.
const patience = time.Second

// waitFor returns the status of a command. A command that was interrupted ends by
// itself, unless it waits for a file on a disk that does not answer: then waitFor
// says which, and returns without it. What was finished is in the catalog.
func waitFor(ctx context.Context, done <-chan int, e *env) int {
	select {
	case status := <-done:
		return status
	case <-ctx.Done():
	}
	tick := time.NewTicker(patience / 10)
	defer tick.Stop()
	for last, since := uint64(0), time.Now(); ; {
		select {
		case status := <-done:
			return status
		case <-tick.C:
		}
		file, call := wavfile.Unanswered()
		if call != last {
			last, since = call, time.Now()
		}
		if call != 0 && time.Since(since) >= patience {
			e.say("nightreel: interrupted; %s does not answer: the disk or the network that it is on hangs", file)
			e.say("hint: what was finished is kept; check the drive and its cable and run the command again")
			return statusInterrupted
		}
	}
}

// run executes one command line, without the program's name, and returns the
// exit status. Progress is shown on stderr where that is a terminal.
func run(ctx context.Context, args []string, stdout, stderr io.Writer, terminal bool) int {
	out, messages := &output{to: stdout, width: lineWidth(stdout)}, &output{to: stderr}
	defer out.flush()
	defer messages.flush()
	return (&env{stdout: out, stderr: messages, screen: stderr, width: out.width, terminal: terminal}).run(ctx, args)
}

func (e *env) run(ctx context.Context, args []string) int {
	app := newApp(e)
	args, err := arrange(app, args)
	if err == nil {
		err = app.RunContext(catalog.WithStep(ctx), append([]string{app.Name}, args...))
	}
	return e.report(ctx, err)
}
