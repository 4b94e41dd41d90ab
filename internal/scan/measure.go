package scan

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"slices"
	"sync"
	"time"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/tracks"
	"nightreel/internal/wavfile"
)

// job holds the unmeasured parts of one recording.
type job struct {
	recording catalog.Recording
	config    meter.Config // but for the part's own fields
	pace      pace
	strips    []*strip
}

// done is a measured unit.
type done struct {
	parts  []catalog.Part
	pieces []catalog.Piece
}

// job returns the parts of a recording that the catalog lacks. If the
// recording did not change (same), it compares only the number of stored parts
// with the expected number.
func (s *scan) job(ctx context.Context, r catalog.Recording, same bool) (*job, error) {
	files, err := s.store.Files(ctx, catalog.FileFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	stored, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
	if err != nil {
		return nil, err
	}
	ids := map[int]catalog.TrackID{}
	for _, t := range stored {
		ids[t.Number] = t.ID
	}
	j := &job{recording: r, config: meter.Config{
		SampleRate: r.SampleRate,
		Type:       SampleType(r),
		ClipLevel:  s.opt.clipLevel(r.BitDepth, r.SampleBytes, !r.Float()),
	}}
	if len(files) > 0 {
		j.pace.rotational = s.opt.spins(files[0].FullPath())
	}
	byTracks := map[[2]int]*strip{}
	for _, f := range files { // in order of first track and segment
		at := [2]int{f.FirstTrack, f.Channels}
		l := byTracks[at]
		if l == nil {
			l = &strip{channels: f.Channels}
			for i := range f.Channels {
				l.tracks = append(l.tracks, ids[f.FirstTrack+i])
			}
			byTracks[at] = l
			j.strips = append(j.strips, l)
		}
		l.files = append(l.files, f)
		l.frames = max(l.frames, f.StartFrame+f.Frames)
	}
	parts := 0
	for _, l := range j.strips {
		parts += j.parts(l) * l.channels
	}
	if same && s.parts[r.ID] == parts {
		return j, nil
	}
	return j, s.unmeasured(ctx, j)
}

// parts returns how many parts a strip has.
func (j *job) parts(l *strip) int {
	length := partFrames(j.config.SampleRate)
	return int((l.frames + length - 1) / length)
}

// unmeasured marks the parts that were not measured yet.
func (s *scan) unmeasured(ctx context.Context, j *job) error {
	keys, err := s.store.PartKeys(ctx, catalog.PartFilter{Recording: j.recording.ID})
	if err != nil {
		return err
	}
	type key struct {
		track catalog.TrackID
		part  int
	}
	have := map[key]bool{}
	for _, p := range keys {
		have[key{p.Track, p.Part}] = true
	}
	absent := map[catalog.FileID]bool{}
	for _, l := range j.strips {
		for part := range j.parts(l) {
			if !slices.ContainsFunc(l.tracks, func(id catalog.TrackID) bool { return !have[key{id, part}] }) {
				continue
			}
			there := true
			for _, r := range j.stretches(l, part) {
				there = there && (r.file == nil || s.isThere(*r.file, absent))
			}
			if there {
				l.parts = append(l.parts, part)
			}
		}
	}
	return nil
}

// isThere reports whether a file can be read. If a needed file's drive is
// missing, it records one problem for the file.
func (s *scan) isThere(f catalog.File, absent map[catalog.FileID]bool) bool {
	gone, asked := absent[f.ID]
	if !asked {
		answered := wavfile.Ask(f.FullPath())
		_, err := os.Stat(f.FullPath())
		answered()
		gone = errors.Is(err, fs.ErrNotExist)
		absent[f.ID] = gone
		if gone {
			s.result.Problems = append(s.result.Problems, Problem{File: f.FullPath(), Problem: "to be measured, and not there", Hint: "scan it again when its drive is back"})
		}
	}
	return !gone
}

// SampleType returns the type of a recording's samples in its files.
func SampleType(r catalog.Recording) meter.SampleType {
	if r.Float() {
		if r.SampleBytes == 8 {
			return meter.Float64
		}
		return meter.Float32
	}
	return []meter.SampleType{meter.Uint8, meter.Int16, meter.Int24, meter.Int32}[min(max(r.SampleBytes, 1), 4)-1]
}

// clipLevel returns the clip level as a fraction of full scale.
func (o Options) clipLevel(bits, bytes int, pcm bool) float64 {
	switch {
	case o.ClipLevelDBFS != nil:
		return math.Pow(10, *o.ClipLevelDBFS/20)
	case pcm && bits < 8*bytes:
		// Left-justified samples never reach their container's largest value.
		return 1 - math.Ldexp(1, 1-bits)
	}
	return 0 // the type's own
}

// measure measures all missing parts. It hands units out in order, so that
// each file is read from front to back. One goroutine stores the results in
// the catalog.
func (s *scan) measure(ctx context.Context, jobs []*job) error {
	var units []unit
	total := int64(0)
	for _, j := range jobs {
		units = append(units, j.units()...)
	}
	units = shared(units, s.opt.Workers)
	for _, u := range units {
		total += u.bytes()
	}
	s.progress.bytesTotal.Store(s.progress.bytes.Load() + total)
	s.progress.files.Store(s.progress.filesTotal.Load() - int64(filesIn(units)))
	if len(units) == 0 {
		return ctx.Err()
	}

	work, results := make(chan unit), make(chan done)
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	m := &measurer{scan: s, failed: map[catalog.FileID]bool{}, left: map[catalog.FileID]int{}}
	for _, u := range units {
		for _, f := range u.reads() {
			m.left[f.ID]++
		}
	}
	var workers sync.WaitGroup
	for range min(s.opt.Workers, len(units)) {
		workers.Go(func() {
			w := worker{measurer: m, open: map[catalog.FileID]*tracks.Source{}}
			defer w.close(nil)
			for u := range work {
				d, ok := w.measure(ctx, u)
				if ok {
					results <- d
				}
				m.finished(u)
			}
		})
	}
	go func() {
		for _, u := range units {
			select {
			case work <- u:
				continue
			case <-ctx.Done():
			}
			break
		}
		close(work)
		workers.Wait()
		close(results)
	}()
	if err := s.keep(ctx, results); err != nil {
		cancel(err)
		for range results {
		} // the workers are waiting to hand over
		return err
	}
	s.result.FilesRead += m.filesRead
	s.result.Problems = append(s.result.Problems, m.problems...)
	return context.Cause(ctx)
}

func filesIn(units []unit) int {
	files := map[catalog.FileID]bool{}
	for _, u := range units {
		for _, f := range u.reads() {
			files[f.ID] = true
		}
	}
	return len(files)
}

// The writer commits at these limits: seldom enough to cost little, often
// enough to lose little.
const (
	keepParts = 512
	keepEvery = time.Second
)

// keep stores the workers' results until they end. It ignores a cancelled
// context, so that finished results are kept.
func (s *scan) keep(ctx context.Context, results <-chan done) error {
	stopped := ctx.Done()
	ctx = context.WithoutCancel(ctx)
	var held done
	last := time.Now()
	flush := func() error {
		if len(held.parts) == 0 {
			return nil
		}
		err := s.store.PutParts(ctx, held.parts, held.pieces)
		held.parts, held.pieces = held.parts[:0], held.pieces[:0]
		last = time.Now()
		return err
	}
	for {
		now := false
		select {
		case d, ok := <-results:
			if !ok {
				return flush()
			}
			held.parts, held.pieces = append(held.parts, d.parts...), append(held.pieces, d.pieces...)
			now = len(held.parts) >= keepParts || time.Since(last) >= keepEvery
		case <-stopped: // a worker that waits for a file may never end
			stopped, now = nil, true
		}
		if !now {
			continue
		}
		if err := flush(); err != nil {
			return err
		}
	}
}

// measurer holds the state that the workers of one scan share.
type measurer struct {
	*scan
	mu        sync.Mutex
	failed    map[catalog.FileID]bool // cannot be opened; said once
	left      map[catalog.FileID]int  // units that are still to read of a file
	filesRead int
	problems  []Problem
}

// finished counts the files without further units.
func (m *measurer) finished(u unit) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, f := range u.reads() {
		if m.left[f.ID]--; m.left[f.ID] == 0 {
			m.progress.files.Add(1)
			if !m.failed[f.ID] {
				m.filesRead++
			}
		}
	}
}

// report records that a file could not be read. It records a file that cannot
// be opened only once.
func (m *measurer) report(f catalog.File, err error, fatal bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.failed[f.ID] {
		return
	}
	m.failed[f.ID] = fatal
	if notGiven(err) {
		m.notRead(f.FullPath())
	}
	m.problems = append(m.problems, problemOf(f.FullPath(), err))
}
