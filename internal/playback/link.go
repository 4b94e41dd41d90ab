package playback

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
)

// launch starts the process and sends it the program.
func (p *Player) launch(opt Options, trims map[int]float64) error {
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
	if err := p.send(setup{p.prog, SinkRequest{opt.Device, p.prog.Rate, p.prog.Outputs}, trims}); err != nil {
		return err
	}
	go p.answerBeats()
	return nil
}

// answerBeats returns the player's newest beat until the pipe is closed. It runs
// apart from listen, which a hanging player may block.
func (p *Player) answerBeats() {
	for n := range p.beats {
		if p.send(Command{Do: beat, ID: n}) != nil {
			return
		}
	}
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

// listen reads the player's events until the pipe ends.
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
	close(p.beats)
	err := p.cmd.Wait()
	if rerr := p.hold.release(); err == nil {
		err = rerr
	}
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
	case ev.Beat > 0:
		select {
		case <-p.beats: // replace it by the newer one
		default:
		}
		p.beats <- ev.Beat
	case ev.Opened != nil:
		p.opened = ev.Opened
		p.close(p.ready)
	case ev.Waits != nil:
		p.waits = *ev.Waits
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

// OpenError reports why a player could not open its device or its recordings.
type OpenError struct{ Why, Help string }

func (e *OpenError) Error() string { return e.Why }

// Hint says what to do about it.
func (e *OpenError) Hint() string { return e.Help }

// announce sends the status to all subscribers. If a subscriber has not taken
// the last one, this one replaces it. The caller must hold p.mu.
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
