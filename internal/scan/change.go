package scan

import (
	"context"
	"fmt"
	"os"
	"slices"
	"sync"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/wavfile"
)

// drop is a stretch of a recording whose measurement does not hold any more.
type drop struct {
	track, channels int
	from, to        int            // parts from … to-1
	file            catalog.FileID // 0 = its checksums stay and are written over
	fromByte        int64          // checksums that end after it go; -1 = all
	toByte          int64          // of changed bytes; 0 = to the file's end
	changed         bool           // the file's bytes are others than those measured
	header          *catalog.Piece // the checksum of a header that was written anew
}

// sameLayout reports whether a file's audio lies where it did.
func sameLayout(a, b catalog.File) bool {
	return a.StartFrame == b.StartFrame && a.FirstTrack == b.FirstTrack && a.Channels == b.Channels && a.DataOffset == b.DataOffset
}

// partFrames returns the frames of a whole part.
func partFrames(rate int) int64 { return int64(meter.PartBlocks) * int64(meter.BlockFrames(rate)) }

// touching returns the parts whose measurement heard any of the frames
// start … end-1, run-up and run-out included.
func touching(rate int, start, end int64) (from, to int) {
	part := partFrames(rate)
	from = int(max(start-int64(meter.RunOutFrames(rate)), 0) / part)
	to = int((end + int64(meter.RunUpFrames(rate)) + part - 1) / part)
	return from, to
}

// rows returns what the catalog is to forget.
func (d drop) rows() []catalog.Drop {
	rows := []catalog.Drop{{File: d.file, FromByte: d.fromByte, ToByte: d.toByte, Changed: d.changed, Header: d.header}}
	for i := range d.channels {
		rows = append(rows, catalog.Drop{Track: d.track + i, From: d.from, To: d.to})
	}
	return rows
}

// changes compares a recording's files with those in the catalog and returns
// what has to be measured again.
func (s *scan) changes(ctx context.Context, g *grouped, files []catalog.File, renumbered map[int]int) ([]drop, error) {
	var drops []drop
	var suspects []catalog.File // may have changed: only their bytes tell
	all := func(f catalog.File, changed bool) {
		d := drop{track: f.FirstTrack, channels: f.Channels, file: f.ID, fromByte: -1, changed: changed}
		d.from, d.to = touching(g.key.rate, f.StartFrame, f.StartFrame+f.Frames)
		drops = append(drops, d)
	}
	known := func(id catalog.FileID) (catalog.File, bool) {
		was, ok := s.known.files[id]
		if to, moved := renumbered[was.FirstTrack]; moved && was.RecordingID == g.old.ID {
			was.FirstTrack = to
		}
		return was, ok && was.RecordingID == g.old.ID
	}
	keep := map[catalog.FileID]bool{}
	for i, f := range files {
		keep[f.ID] = true
		was, ok := known(f.ID)
		unchanged := was.Size == f.Size && was.Frames == f.Frames
		switch {
		case !ok || !sameLayout(was, f):
			changed, err := s.changedBytes(ctx, f)
			if err != nil {
				return nil, err
			}
			all(f, changed)
			if ok {
				was.ID = 0
				all(was, false)
			}
		case !g.sources[i].found:
			// As it was.
		case unchanged && was.ModTime.Equal(f.ModTime) && !s.opt.Check:
		case unchanged:
			suspects = append(suspects, f)
		default:
			d, err := s.grown(ctx, g.group, f, was)
			if err != nil {
				return nil, err
			}
			drops = append(drops, d)
		}
	}
	for _, f := range s.known.of[g.old.ID] {
		if !keep[f.ID] {
			was, _ := known(f.ID)
			was.ID = 0 // what became of its checksums is another recording's matter
			all(was, false)
		}
	}
	more, err := s.check(ctx, g.group, suspects)
	return append(drops, more...), err
}

// changedBytes reports whether a file that lies elsewhere in its recording now, or in
// another one, and may have been written to, holds other bytes than those that
// were measured. It notes so as a problem.
func (s *scan) changedBytes(ctx context.Context, f catalog.File) (bool, error) {
	was, ok := s.known.files[f.ID]
	if !ok {
		return false, nil
	}
	if is, had := formatOf(f), formatOf(was); is != had {
		s.changedFile(f.FullPath(), 0, fmt.Sprintf("it has %s now, and had %s; other tracks keep their recording, and this file is measured again as one of its own format", is, had))
		return true, nil
	}
	if was.Size == f.Size && was.ModTime.Equal(f.ModTime) {
		return false, nil
	}
	v, err := verify(ctx, s.store, f, s.read)
	if err != nil || len(v.Differs) == 0 {
		return false, err
	}
	s.changedFile(f.FullPath(), v.Differs[0].Offset, "changed since it was measured; it is measured again")
	return true, nil
}

// changedFile notes that a file changed.
func (s *scan) changedFile(file string, offset int64, text string) {
	s.planned = append(s.planned, Problem{File: file, Offset: offset, Problem: text, Hint: "nightreel verify reports it until it has the bytes again that it had first; if it is right as it is now, nightreel verify accept FILE accepts it"})
}

// grown tells what to measure again of a file that has another length now. Of
// one that a recorder went on writing the whole minutes stay, as long as the
// last of them is what it was.
func (s *scan) grown(ctx context.Context, g *group, f, was catalog.File) (drop, error) {
	d := drop{track: f.FirstTrack, channels: f.Channels, file: f.ID, fromByte: -1}
	d.from, d.to = touching(g.key.rate, f.StartFrame, f.StartFrame+max(f.Frames, was.Frames))
	pieces, err := s.store.Pieces(ctx, was.ID)
	if err != nil || len(pieces) == 0 {
		return d, err // nothing of it was read
	}
	// Longer audio is what a recorder went on writing; so is an end that it gave to
	// an unfinished file.
	if f.Frames < was.Frames || f.Frames == was.Frames && !was.Unfinished {
		d.changed = true
		s.changedFile(f.FullPath(), 0, fmt.Sprintf("%d bytes long, and was %d when it was measured; it is measured again", f.Size, was.Size))
		return d, nil
	}
	from, _ := touching(g.key.rate, was.StartFrame+was.Frames, was.StartFrame+was.Frames)
	whole := int64(from)*partFrames(g.key.rate) - f.StartFrame // frames of the file in parts that may stay
	fromByte := f.DataOffset + whole*int64(f.Channels*g.key.bytes)
	at := slices.IndexFunc(pieces, func(p catalog.Piece) bool { return whole > 0 && p.Offset+p.Length == fromByte })
	stays := at >= 0
	if !stays { // too short for a part that may stay: its first audio tells whether it only grew
		at = slices.IndexFunc(pieces, func(p catalog.Piece) bool { return p.Offset == f.DataOffset })
	}
	if at < 0 {
		return d, nil
	}
	defer wavfile.Ask(f.FullPath())()
	r, err := os.Open(f.FullPath())
	if err != nil {
		return d, nil // measuring it will say what is wrong
	}
	defer r.Close()
	buf := make([]byte, sumBuffer)
	sum, err := sumOf(ctx, r, pieces[at].Offset, pieces[at].Length, buf, s.read)
	if ctx.Err() != nil {
		return d, ctx.Err()
	}
	if err == nil && sum != pieces[at].Sum {
		d.changed = true
		s.changedFile(f.FullPath(), pieces[at].Offset, "changed since it was measured; it is measured again")
	}
	if err != nil || d.changed || !stays {
		return d, nil
	}
	if sum, err = sumOf(ctx, r, 0, f.DataOffset, buf, s.read); err != nil {
		return d, ctx.Err()
	}
	d.from, d.fromByte = from, fromByte
	d.header = &catalog.Piece{File: f.ID, Length: f.DataOffset, Sum: sum}
	return d, nil
}

// check compares files with their checksums and returns what differs.
func (s *scan) check(ctx context.Context, g *group, suspects []catalog.File) ([]drop, error) {
	if len(suspects) == 0 {
		return nil, nil
	}
	s.progress.stage("comparing checksums")
	defer s.progress.stage("comparing with the catalog")
	total := int64(0)
	for _, f := range suspects {
		total += f.Size
	}
	s.progress.bytesTotal.Add(total)
	found := make([]Verified, len(suspects))
	err := parallel(ctx, s.opt.Workers, len(suspects), func(i int) error {
		s.progress.reading(suspects[i].FullPath())
		var err error
		found[i], err = verify(ctx, s.store, suspects[i], func(n int64) {
			s.read(n)
			s.progress.bytes.Add(n)
		})
		return err
	})
	if err != nil {
		return nil, err
	}
	var drops []drop
	for i, f := range suspects {
		s.result.FilesRead++
		v := found[i]
		if v.failed {
			s.planned = append(s.planned, Problem{File: f.FullPath(), Offset: v.Offset, Problem: v.Problem})
		}
		for k, p := range v.Differs {
			if k == 0 {
				s.changedFile(f.FullPath(), p.Offset, fmt.Sprintf("changed since it was measured, in %d of its stretches; they are measured again", len(v.Differs)))
			}
			frames := func(bytes int64) int64 {
				return f.StartFrame + min(max(bytes-f.DataOffset, 0)/int64(f.Channels*g.key.bytes), f.Frames-1)
			}
			d := drop{track: f.FirstTrack, channels: f.Channels, file: f.ID, fromByte: p.Offset, toByte: p.Offset + p.Length, changed: true}
			d.from, d.to = touching(g.key.rate, frames(p.Offset), frames(p.Offset+p.Length-1)+1)
			drops = append(drops, d)
		}
	}
	return drops, nil
}

// read counts bytes that were read.
func (s *scan) read(n int64) { s.bytesRead.Add(n) }

// dropUnreadable forgets, in a scan that checks, the records of a recording that
// cannot be read, so that they are measured again.
func (s *scan) dropUnreadable(ctx context.Context, old catalog.Recording) (dropped bool, err error) {
	if !s.opt.Check {
		return false, nil
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Recording: old.ID})
	if err != nil {
		return false, err
	}
	for _, t := range tracks { // one at a time: a night need not fit in memory
		parts, err := s.store.Parts(ctx, catalog.PartFilter{Track: t.ID})
		if err != nil {
			return dropped, err
		}
		for _, p := range parts {
			if _, err := meter.Decode(p.Data); err == nil {
				continue
			}
			dropped = true
			if err := s.store.DropParts(ctx, catalog.PartFilter{Track: t.ID, From: p.Part, To: p.Part + 1}, nil, 0); err != nil {
				return dropped, err
			}
		}
	}
	return dropped, nil
}

// parallel calls f with 0 … n-1 from several goroutines and returns the first
// error, or ctx's.
func parallel(ctx context.Context, workers, n int, f func(i int) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(workers, n) {
		wg.Go(func() {
			for i := range next {
				if err := f(i); err != nil {
					cancel(err)
				}
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		select {
		case next <- i:
		case <-ctx.Done():
		}
	}
	close(next)
	wg.Wait()
	return context.Cause(ctx)
}
