package playback

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
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

// PlayerCommand is the command word that makes this program a player.
const PlayerCommand = "player"

// Player is a running player process. It also keeps the player's state in the
// catalog. Its methods may be called from several goroutines.
type Player struct {
	prog  *Program
	store *catalog.Store
	ses   catalog.Session
	cmd   *exec.Cmd
	in    io.WriteCloser
	log   tailBuffer
	hold  *hold // of the desk; nil if nothing can be heard
	armed atomic.Bool
	dry   bool // a dry run without sound: nothing goes back to the stage

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
	waits    string        // the file that does not answer the player; "" for none
	beats    chan int64    // the player's newest, to be returned
	ready    chan struct{} // closed once opened or failed
	done     chan struct{} // closed when the process is gone
}

// Start runs a player process on a program. It returns once the device runs,
// silent, stopped at the position where the session was left, at [StartLevelDB]
// or at a lower level if it was left at one. ctx bounds the start only; end the
// player with [Player.Close]. If another player on the same catalog has a device
// open, Start fails with *[BusyError].
func Start(ctx context.Context, store *catalog.Store, prog *Program, opt Options) (*Player, error) {
	ses, err := store.Session(ctx, prog.Session)
	if err != nil {
		return nil, err
	}
	p := &Player{prog: prog, store: store, ses: ses, dry: opt.Device == Silent, waiting: map[int64]chan reply{}, subs: map[chan Status]bool{}, beats: make(chan int64, 1), ready: make(chan struct{}), done: make(chan struct{})}
	if err := p.reload(ctx); err != nil {
		return nil, err
	}
	saved, known, err := store.PlaybackState(ctx, ses.ID)
	if err != nil {
		return nil, err
	}
	if sounds(opt.Device) {
		if p.hold, err = take(store.Path(), ses.ID); err != nil {
			return nil, err
		}
	}
	if err := p.launch(opt, saved.Trims); err != nil {
		return nil, errors.Join(err, p.hold.release())
	}
	select {
	case <-p.ready:
	case <-ctx.Done():
		p.kill()
		return nil, p.unanswered(ctx.Err())
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

// Program returns the program that is played.
func (p *Player) Program() *Program { return p.prog }

// Opened describes the opened device.
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

// Subscribe returns a channel of statuses. A slow reader gets the newest one
// only. The channel is closed when the player ends, or by cancel.
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

// answerWithin is how long a player may take to answer. A fade-out waits no
// longer: the process is ended instead.
const answerWithin = time.Second

// Do sends a command and waits until it is done or refused (*[RefusedError]);
// then [Player.Status] includes its effect. If a [FadeOut] is not answered
// within a second, Do ends the player's process.
func (p *Player) Do(ctx context.Context, c Command) error {
	// Store it before anything sounds; an unarmed player refuses anyway.
	if !p.dry && p.armed.Load() && (c.Do == Play || c.Do == Identify || c.Do == LineUp) {
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
	go func() { sent <- p.send(c) }() // a hanging player does not empty its pipe
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

// kill ends the player's process. Where that waits for a disk that hangs the system
// may not let it go; it is silent all the same, and nobody waits for it.
func (p *Player) kill() {
	p.cmd.Process.Kill()
	select {
	case <-p.done:
	case <-time.After(time.Second / 2):
	}
}

// HangError says that the player waited for a file on a disk that does not answer.
type HangError struct {
	File string
	Err  error // what ended the wait, nil if the player was told to end
}

func (e *HangError) Error() string {
	return e.File + " does not answer: the disk or the network that it is on hangs"
}

// Unwrap returns what ended the wait.
func (e *HangError) Unwrap() error { return e.Err }

// Hint says what to do about it.
func (e *HangError) Hint() string {
	return "check the drive and its cable and start playback again; if it stays like this, play from another rig"
}

// unanswered returns err, or if the player waits for a file, a *[HangError] with it.
func (p *Player) unanswered(err error) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.waits == "" {
		return err
	}
	return &HangError{p.waits, err}
}
