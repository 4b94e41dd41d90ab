package playback

import (
	"bytes"
	"context"
	"strings"
	"sync"
	"time"

	"nightreel/catalog"
)

// Ending is the state in which a player was left.
type Ending struct {
	Fed  bool                // sound was made since the list was last complete
	Back []catalog.BackInput // the desk inputs, with their ticks
}

// Open returns the inputs that no person has ticked since they were fed.
func (e Ending) Open() []catalog.BackInput {
	open := []catalog.BackInput{}
	for _, b := range e.Back {
		if e.Fed && !b.Back {
			open = append(open, b)
		}
	}
	return open
}

// Close fades out, ends the player and stores its state. If the player waits for a
// file that does not answer, the error is a *[HangError].
func (p *Player) Close(ctx context.Context) (Ending, error) {
	p.mu.Lock()
	p.quitting = true
	p.mu.Unlock()
	err := p.save(ctx)
	p.in.Close() // without p.writing, which a write to a hanging player may hold
	patience := 5 * time.Second
	hangs := p.unanswered(nil)
	if hangs != nil {
		patience = 1500 * time.Millisecond // it has faded out by then, and ends no sooner
	}
	timer := time.NewTimer(patience)
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
	if err == nil {
		err = hangs
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return Ending{p.fed, p.back}, err
}

// PID returns the id of the player's process, for measurements.
func (p *Player) PID() int { return p.cmd.Process.Pid }

// tailBuffer keeps the end of the player's standard error.
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
