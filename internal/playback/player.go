package playback

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"nightreel/catalog"
)

// Options are the choices of [Start].
type Options struct {
	Device       string   // name as the device list has it; "" = the system's default; "null", "file:PATH"
	Acknowledged bool     // a person has read the cautions and takes charge
	Command      []string // argv of the player's process; nil = this program with the word "player"
}

// PlayerCommand is the word by which this program becomes a player.
const PlayerCommand = "player"

// Player is a running player process, and the keeper of its state in the
// catalog. Its methods may be called from several goroutines.
type Player struct {
	prog  *Program
	store *catalog.Store
	ses   catalog.Session
	cmd   *exec.Cmd
	in    io.WriteCloser
	log   tailBuffer
	armed atomic.Bool

	writing sync.Mutex // of lines down the pipe

	mu       sync.Mutex
	opened   *Opened
	failed   error
	nextID   int64
	waiting  map[int64]chan reply
	status   Status
	back     []catalog.BackInput
	fed      bool
	subs     map[chan Status]bool
	saved    catalog.PlaybackState
	quitting bool
	ready    chan struct{} // closed once opened or failed
	done     chan struct{} // closed when the process is gone
}

// Start runs a player process on a program. It returns once the device runs,
// silent and stopped where the session was left, at [StartLevelDB] or the
// lower level that it was left at. ctx bounds the start alone; end the player
// with [Player.Close].
func Start(ctx context.Context, store *catalog.Store, prog *Program, opt Options) (*Player, error) {
	ses, err := store.Session(ctx, prog.Session)
	if err != nil {
		return nil, err
	}
	p := &Player{prog: prog, store: store, ses: ses, waiting: map[int64]chan reply{}, subs: map[chan Status]bool{}, ready: make(chan struct{}), done: make(chan struct{})}
	if err := p.reload(ctx); err != nil {
		return nil, err
	}
	saved, known, err := store.PlaybackState(ctx, ses.ID)
	if err != nil {
		return nil, err
	}
	if err := p.launch(opt); err != nil {
		return nil, err
	}
	select {
	case <-p.ready:
	case <-ctx.Done():
		p.kill()
		return nil, ctx.Err()
	}
	if p.failed != nil {
		p.in.Close()
		<-p.done
		return nil, p.failed
	}
	if known {
		p.restore(ctx, saved)
	}
	if opt.Acknowledged {
		if err := p.Do(ctx, Command{Do: Acknowledge}); err != nil {
			p.kill()
			return nil, err
		}
	}
	go p.keep()
	return p, nil
}

// launch starts the process and hands it the program.
func (p *Player) launch(opt Options) error {
	argv := opt.Command
	if argv == nil {
		self, err := os.Executable()
		if err != nil {
			return fmt.Errorf("the player could not be started: %w", err)
		}
		argv = []string{self, PlayerCommand}
	}
	p.cmd = exec.Command(argv[0], argv[1:]...)
	p.cmd.Stderr = &p.log
	out, err := p.cmd.StdoutPipe()
	if err == nil {
		p.in, err = p.cmd.StdinPipe()
	}
	if err == nil {
		err = p.cmd.Start()
	}
	if err != nil {
		return fmt.Errorf("the player could not be started: %w", err)
	}
	go p.listen(out)
	return p.send(setup{p.prog, SinkRequest{opt.Device, p.prog.Rate, p.prog.Outputs}})
}

func (p *Player) send(v any) error {
	line, err := json.Marshal(v)
	if err != nil {
		return err
	}
	p.writing.Lock()
	defer p.writing.Unlock()
	_, err = p.in.Write(append(line, '\n'))
	return err
}

// listen reads what the player says, to its end.
func (p *Player) listen(out io.Reader) {
	lines := bufio.NewReaderSize(out, 1<<16)
	for {
		line, err := lines.ReadBytes('\n')
		if err != nil {
			break
		}
		var ev event
		if json.Unmarshal(line, &ev) == nil {
			p.hear(ev)
		}
	}
	err := p.cmd.Wait()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failed == nil && !p.quitting {
		why := "the player ended"
		if err != nil {
			why += ": " + err.Error()
		}
		if text := p.log.last(); text != "" {
			why += ": " + text
		}
		p.failed = errors.New(why)
		p.status.State = Lost
		p.status.Problems = []Problem{{Text: why, Hint: "the outputs are silent; start playback again"}}
	}
	p.announce()
	for ch := range p.subs {
		close(ch)
	}
	p.subs = nil
	close(p.done)
	if p.opened == nil {
		p.close(p.ready)
	}
}

func (p *Player) close(ch chan struct{}) {
	select {
	case <-ch:
	default:
		close(ch)
	}
}

func (p *Player) hear(ev event) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case ev.Opened != nil:
		p.opened = ev.Opened
		p.close(p.ready)
	case ev.Failed != nil:
		p.failed = &OpenError{ev.Failed.Error, ev.Failed.Hint}
		p.close(p.ready)
	case ev.Status != nil:
		p.status = *ev.Status
		p.announce()
	case ev.Reply != nil:
		if ch := p.waiting[ev.Reply.ID]; ch != nil {
			delete(p.waiting, ev.Reply.ID)
			ch <- *ev.Reply
		}
	}
}

// OpenError says why a player could not open its device or its recordings.
type OpenError struct{ Why, Help string }

func (e *OpenError) Error() string { return e.Why }

// Hint says what to do about it.
func (e *OpenError) Hint() string { return e.Help }

// announce gives the status to whoever asked for it; a subscriber that has not
// taken the last one gets this instead. p.mu is held.
func (p *Player) announce() {
	for i := range p.status.Inputs {
		in := &p.status.Inputs[i]
		for _, b := range p.back {
			if b.DeskInput == in.DeskInput {
				in.Back = b.Back
			}
		}
	}
	for ch := range p.subs {
		select {
		case <-ch:
		default:
		}
		ch <- p.status
	}
}

// Program returns what is played.
func (p *Player) Program() *Program { return p.prog }

// Opened returns what the device turned out to be.
func (p *Player) Opened() Opened { return *p.opened }

// Done is closed when the player's process is gone.
func (p *Player) Done() <-chan struct{} { return p.done }

// Err returns why the player ended by itself, or nil.
func (p *Player) Err() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.failed
}

// Status returns the latest status.
func (p *Player) Status() Status {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.status
}

// Subscribe returns a channel of statuses, the newest first where the reader is
// slow; it is closed when the player ends or by cancel.
func (p *Player) Subscribe() (statuses <-chan Status, cancel func()) {
	p.mu.Lock()
	defer p.mu.Unlock()
	ch := make(chan Status, 1)
	if p.subs == nil {
		close(ch)
		return ch, func() {}
	}
	p.subs[ch] = true
	return ch, func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		if p.subs[ch] {
			delete(p.subs, ch)
			close(ch)
		}
	}
}

// answerWithin is how long a player may take to answer. For silence nobody
// waits longer: it is ended instead.
const answerWithin = time.Second

// Do sends a command and waits until it is done or refused (*[RefusedError]).
// A [FadeOut] that is not answered within a second ends the player's process.
func (p *Player) Do(ctx context.Context, c Command) error {
	// Noted before anything sounds; an unarmed player refuses anyway.
	if p.armed.Load() && (c.Do == Play || c.Do == Identify || c.Do == LineUp) {
		if err := p.store.BeginFeeding(ctx, p.ses); err != nil {
			return err
		}
		if err := p.reload(ctx); err != nil {
			return err
		}
	}
	if c.Do == FadeOut {
		timed, cancel := context.WithTimeout(ctx, answerWithin)
		defer cancel()
		err := p.ask(timed, c)
		if err != nil {
			p.kill()
		}
		return err
	}
	err := p.ask(ctx, c)
	if err == nil && c.Do == Acknowledge {
		p.armed.Store(true)
	}
	return err
}

func (p *Player) ask(ctx context.Context, c Command) error {
	ch := make(chan reply, 1)
	p.mu.Lock()
	p.nextID++
	c.ID = p.nextID
	p.waiting[c.ID] = ch
	p.mu.Unlock()
	defer func() {
		p.mu.Lock()
		delete(p.waiting, c.ID)
		p.mu.Unlock()
	}()
	sent := make(chan error, 1)
	go func() { sent <- p.send(c) }() // a player that hangs does not empty its pipe
	for {
		select {
		case err := <-sent:
			if err != nil {
				return fmt.Errorf("the player does not take commands: %w", err)
			}
			sent = nil
		case r := <-ch:
			if r.Error != "" {
				return &RefusedError{c.Do, r.Error, r.Hint}
			}
			return nil
		case <-p.done:
			if err := p.Err(); err != nil {
				return err
			}
			return errors.New("the player has ended")
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (p *Player) kill() {
	p.cmd.Process.Kill()
	<-p.done
}

// Ending is how a player was left.
type Ending struct {
	Fed  bool                // sound was made since the list was last complete
	Back []catalog.BackInput // the desk inputs, with their ticks
}

// Open returns the inputs that nobody has ticked since they were fed.
func (e Ending) Open() []catalog.BackInput {
	open := []catalog.BackInput{}
	for _, b := range e.Back {
		if e.Fed && !b.Back {
			open = append(open, b)
		}
	}
	return open
}

// Close fades out, ends the player and stores where it stood.
func (p *Player) Close(ctx context.Context) (Ending, error) {
	p.mu.Lock()
	p.quitting = true
	p.mu.Unlock()
	err := p.save(ctx)
	p.writing.Lock()
	p.in.Close()
	p.writing.Unlock()
	timer := time.NewTimer(5 * time.Second)
	defer timer.Stop()
	select {
	case <-p.done:
	case <-timer.C:
		p.kill()
	case <-ctx.Done():
		p.kill()
	}
	if rerr := p.reload(ctx); err == nil {
		err = rerr
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return Ending{p.fed, p.back}, err
}

// tailBuffer keeps the end of what the player wrote to standard error.
type tailBuffer struct {
	mu   sync.Mutex
	text []byte
}

func (b *tailBuffer) Write(x []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.text = append(b.text, x...)
	if over := len(b.text) - 4096; over > 0 {
		b.text = b.text[over:]
	}
	return len(x), nil
}

// last returns the last line.
func (b *tailBuffer) last() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	lines := strings.Split(string(bytes.TrimSpace(b.text)), "\n")
	return lines[len(lines)-1]
}

// PID returns the id of the player's process, for measuring it.
func (p *Player) PID() int { return p.cmd.Process.Pid }
