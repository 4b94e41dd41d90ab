package playback

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// setup is the first line down the pipe.
type setup struct {
	Program *Program    `json:"program"`
	Sink    SinkRequest `json:"sink"`
	// Trims are the live trims that a person left, by desk input.
	Trims map[int]float64 `json:"trims,omitempty"`
}

// StatusInterval is the time between two statuses of a player.
const StatusInterval = 100 * time.Millisecond

// The player counts beats and sends them up; the process that started it returns
// each. If the newest returned beat is deafAfter beats old, the player falls
// silent: after 0.6 s, so that with FadeOutMS it is silent within 1 s. Beats
// that lie in the pipes are older, and prove nothing.
const (
	beatInterval = 50 * time.Millisecond
	deafAfter    = 12
)

// Silent is the device of a dry run: it discards the audio.
const Silent = "null"

// OpenBuiltin opens the sinks that need no device: "null" discards the audio in
// real time, "file:PATH" writes it to a WAV file. known is false for other
// names.
func OpenBuiltin(req SinkRequest) (s Sink, known bool, err error) {
	if path, ok := strings.CutPrefix(req.Device, "file:"); ok {
		f, err := NewFileSink(path, req.Rate, req.Outputs)
		if err != nil {
			return nil, true, err
		}
		return f, true, nil
	}
	if req.Device != Silent {
		return nil, false, nil
	}
	const period = 10 * time.Millisecond
	return NewNull(req.Rate, req.Outputs, req.Rate/100, time.NewTicker(period).C), true, nil
}

// Serve is the player: it reads a program and commands from in, line by line,
// and plays on the sink that open returns. It fades out and ends when in ends,
// on [Quit], and with ctx; it writes events to out as JSON lines. [Player] is
// the other end.
//
// It sets up the process for the audio callback: do no other work in it.
func Serve(ctx context.Context, in io.Reader, out io.Writer, open OpenSink, files tracks.OpenFunc) error {
	// The callback's thread must find a free slot of Go's scheduler at once;
	// with only as many slots as processors it waits (measured: late blocks went
	// from 83–116 to 2–28 in 8 s beside two busy goroutines).
	runtime.GOMAXPROCS(max(4, 2*runtime.NumCPU()))
	// Nearly all memory is the rings, which stay. By default the collector would
	// allow as much again in garbage.
	debug.SetGCPercent(10)
	up := &upLink{enc: json.NewEncoder(out)}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	go watchFiles(ctx, up)
	lines := bufio.NewReaderSize(in, 1<<16)
	first, err := lines.ReadBytes('\n')
	if err != nil {
		return fmt.Errorf("the player received no program: %w", err)
	}
	var set setup
	if err := json.Unmarshal(first, &set); err != nil || set.Program == nil || len(set.Program.Items) == 0 {
		return fmt.Errorf("the player received a program that it cannot decode: %v", err)
	}
	sink, err := open(set.Sink)
	var engine *Engine
	if err == nil {
		if engine, err = NewEngine(set.Program, files); err != nil {
			sink.Close()
		}
	}
	if err == nil {
		engine.Restore(set.Trims)
		if err = sink.Start(engine); err != nil {
			sink.Close()
			engine.Close()
		}
	}
	if err != nil {
		up.send(event{Failed: answer(0, err)})
		return err
	}
	s := &server{engine: engine, sink: sink, open: open, set: set, up: up}
	opened := sink.Info()
	s.set.Sink.Device = opened.Device // the default may be another device next time
	events := make(chan event, 64)
	written := make(chan struct{})
	go func() {
		defer close(written)
		for ev := range events {
			if up.send(ev) != nil {
				return
			}
		}
	}()
	events <- event{Opened: &opened}
	go s.beat(ctx, events)
	s.loop(ctx, s.commands(lines), events, written)
	return s.end()
}

// beat sends beats, and fades out if they are not returned. It runs beside the
// loop, which may wait for a device or a full pipe.
func (s *server) beat(ctx context.Context, events chan<- event) {
	tick := time.NewTicker(beatInterval)
	defer tick.Stop()
	for n := int64(1); ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		select {
		case events <- event{Beat: n}:
		default:
		}
		if n-s.answered.Load() > deafAfter {
			s.engine.Do(Command{Do: FadeOut})
		}
	}
}

// commands reads commands until the pipe is closed. A line that cannot be
// decoded becomes a command that is refused.
func (s *server) commands(lines *bufio.Reader) <-chan Command {
	to := make(chan Command)
	go func() {
		defer close(to)
		for {
			line, err := lines.ReadBytes('\n')
			if err != nil {
				return
			}
			var c Command
			if json.Unmarshal(line, &c) != nil {
				c.Do = "?"
			}
			if c.Do == beat {
				s.answered.Store(c.ID)
				continue
			}
			to <- c
		}
	}()
	return to
}

// server is the state of a player process.
type server struct {
	engine *Engine
	sink   Sink // nil while no device is open
	open   OpenSink
	set    setup
	up     *upLink
	last   SinkStats // of sinks that are closed

	answered atomic.Int64 // newest returned beat
}

func (s *server) loop(ctx context.Context, in <-chan Command, events chan<- event, written <-chan struct{}) {
	tick := time.NewTicker(StatusInterval)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-written:
			return // the other process no longer reads
		case c, ok := <-in:
			if !ok || c.Do == Quit {
				return
			}
			err := s.do(c)
			// Send the status before the answer, so that no older status is
			// taken for the command's effect.
			st := s.status()
			select {
			case events <- event{Status: &st}:
			default:
			}
			select {
			case events <- event{Reply: answer(c.ID, err)}:
			case <-written:
				return
			}
		case <-tick.C:
			st := s.status()
			select {
			case events <- event{Status: &st}:
			default:
			}
		}
	}
}

func (s *server) do(c Command) error {
	if c.Do != Reopen {
		return s.engine.Do(c)
	}
	s.engine.SetLost("the device is being opened again")
	if s.sink != nil {
		s.last = s.sink.Stats()
		s.sink.Close()
		s.sink = nil
	}
	sink, err := s.open(s.set.Sink)
	if err == nil {
		if err = sink.Start(s.engine); err != nil {
			sink.Close()
		}
	}
	if err != nil {
		s.engine.SetLost(err.Error())
		return &RefusedError{Do: Reopen, Why: err.Error(), Help: hint(err)}
	}
	s.sink = sink
	s.engine.SetLost("")
	return nil
}

func (s *server) status() Status {
	stats := s.last
	if s.sink != nil {
		stats = s.sink.Stats()
		if stats.Lost != "" && !s.engine.Lost() {
			s.engine.SetLost(stats.Lost)
		}
	}
	st := s.engine.Status()
	st.LateBlocks, st.Connected = stats.LateBlocks, stats.Connected
	st.MaxCallbackMS = float64(stats.MaxCallback) / 1e6
	if s.sink != nil {
		st.Device = s.sink.Info().Device
	}
	if file, _ := s.up.waits.Load().(string); file != "" {
		hangs := &HangError{File: file}
		st.Problems = append(slices.Clone(st.Problems), Problem{Text: hangs.Error(), Hint: hangs.Hint()})
	}
	return st
}

// end falls silent, then releases the device.
func (s *server) end() error {
	audible := s.engine.Audible()
	s.engine.Do(Command{Do: FadeOut})
	if audible {
		// Wait for the fade, and for the device's buffer.
		time.Sleep(FadeOutMS*time.Millisecond + 100*time.Millisecond)
	}
	var err error
	if s.sink != nil {
		err = s.sink.Close()
	}
	closed := make(chan struct{})
	go func() { s.engine.Close(); close(closed) }()
	select {
	case <-closed:
	case <-time.After(time.Second / 2): // in case a disk hangs
	}
	return err
}

// upLink sends events to whoever started the player.
type upLink struct {
	mu  sync.Mutex
	enc *json.Encoder
	// waits is the file that does not answer, "" for none.
	waits atomic.Value
}

func (u *upLink) send(ev event) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.enc.Encode(ev)
}

// unansweredAfter is how long a file may keep the player waiting before it says
// so: longer than a good disk takes that reads for others too.
const unansweredAfter = time.Second

// watchFiles tells which file does not answer, from the start on: opening the
// first one may be what hangs.
func watchFiles(ctx context.Context, up *upLink) {
	tick := time.NewTicker(unansweredAfter / 4)
	defer tick.Stop()
	told := ""
	for call, ticks := uint64(0), 0; ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		file, now := wavfile.Unanswered()
		if now != call {
			call, ticks = now, 0
		} else if now != 0 {
			ticks++
		}
		if now == 0 || ticks < 4 {
			file = ""
		}
		if file != told {
			told = file
			up.waits.Store(file)
			up.send(event{Waits: &file})
		}
	}
}

func answer(id int64, err error) *reply {
	r := &reply{ID: id}
	if err == nil {
		return r
	}
	r.Error, r.Hint = err.Error(), hint(err)
	var refused *RefusedError
	if errors.As(err, &refused) {
		r.Error = refused.Why
	}
	return r
}

func hint(err error) string {
	var h interface{ Hint() string }
	if errors.As(err, &h) {
		return h.Hint()
	}
	return ""
}
