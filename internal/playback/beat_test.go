package playback

import (
	"bufio"
	"encoding/json"
	"io"
	"os"
	"sync/atomic"
	"testing"
	"time"
)

// loudness is a sink that counts the frames that it gets, up to the last sound.
type loudness struct {
	*Null
	all, last atomic.Int64
}

func (l *loudness) Start(p Puller) error { return l.Null.Start(hearing{p, l}) }

type hearing struct {
	Puller
	sink *loudness
}

func (h hearing) Pull(dst []float32, channels int) {
	h.Puller.Pull(dst, channels)
	all := h.sink.all.Add(int64(len(dst) / channels))
	for _, x := range dst {
		if x != 0 {
			h.sink.last.Store(all)
			return
		}
	}
}

// If the process that started the player does not return its beats, it is frozen
// or gone, whatever lies in the pipes: within 1 s everything is silent. That
// holds whether it still reads the player's events or not, and commands from it
// do not help. While it returns the beats, playback continues.
func TestUnansweredBeatsSilence(t *testing.T) {
	for _, c := range []struct {
		name           string
		reads, answers bool
	}{{"frozen", false, false}, {"reads, but does not return beats", true, false}, {"alive", true, true}} {
		t.Run(c.name, func(t *testing.T) {
			sink := &loudness{Null: NewNull(48000, 3, 480, time.NewTicker(10*time.Millisecond).C)}
			down, orders := io.Pipe()
			r, up, err := os.Pipe() // a pipe of the system, with its buffer
			if err != nil {
				t.Fatal(err)
			}
			served := make(chan error, 1)
			go func() {
				served <- Serve(t.Context(), down, up, func(SinkRequest) (Sink, error) { return sink, nil }, openTape)
				up.Close()
			}()
			enc := json.NewEncoder(orders)
			send := func(v any) {
				if err := enc.Encode(v); err != nil {
					t.Error(err)
				}
			}
			send(setup{Program: tapeProgram(3, twoSongs...)})
			send(Command{Do: Acknowledge})
			send(Command{Do: Play})
			events := bufio.NewReaderSize(r, 1<<16)
			began := time.Now()
			frozen, before := time.Time{}, int64(0)
			for time.Since(began) < 2500*time.Millisecond && (c.reads || frozen.IsZero()) {
				line, err := events.ReadBytes('\n')
				if err != nil {
					t.Fatal(err)
				}
				var ev event
				if err := json.Unmarshal(line, &ev); err != nil {
					t.Fatal(err)
				}
				if frozen.IsZero() && time.Since(began) > 500*time.Millisecond {
					if sink.last.Load() == 0 {
						t.Fatal("the player does not play")
					}
					frozen, before = time.Now(), sink.all.Load()
				}
				if ev.Beat > 0 && (frozen.IsZero() || c.answers) {
					send(Command{Do: beat, ID: ev.Beat})
				} else if ev.Status != nil && c.reads {
					send(Command{Do: AtEnd, Then: "next"})
				}
			}
			for !c.reads && time.Since(frozen) < 1500*time.Millisecond {
				<-time.After(50 * time.Millisecond)
			}
			took := time.Duration(sink.last.Load()-before) * time.Second / 48_000 // counted in audio: a busy machine's clock is unreliable
			t.Logf("%v of sound came after the last answer", took)
			if c.answers && took < 1200*time.Millisecond {
				t.Errorf("only %v of sound came, though the beats were answered", took)
			} else if !c.answers && took > time.Second {
				t.Errorf("%v of sound came", took)
			}
			go io.Copy(io.Discard, events)
			orders.Close()
			if err := <-served; err != nil {
				t.Error(err)
			}
		})
	}
}
