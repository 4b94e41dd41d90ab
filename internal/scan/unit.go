package scan

import (
	"fmt"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/tracks"
)

// strip is a run of stored files that hold the same tracks, with its parts
// that are still to be measured.
type strip struct {
	files    []catalog.File // in order of place
	tracks   []catalog.TrackID
	channels int
	frames   int64 // end of the last file, in frames of the recording
	parts    []int
}

// unit is the work that is measured and stored at once: one part of a strip,
// or of several strips of one track each. Their files are read in step, so
// that the meter works on many channels side by side.
type unit struct {
	*job
	strips []*strip
	part   int
	// from and to are the tracks of the only strip that this unit measures, if
	// workers share the strip; to is 0 for all.
	from, to int
}

// tracks returns the tracks of a strip that the unit measures.
func (u unit) tracks(s *strip) []catalog.TrackID {
	if u.to > 0 {
		return s.tracks[u.from:u.to]
	}
	return s.tracks
}

// first reports whether the unit counts the bytes of its strip: one of the
// units that share a strip does.
func (u unit) first() bool { return u.from == 0 }

// shared splits the last units by tracks if their files have many channels, so
// that all workers end at about the same time. Otherwise a short file would
// leave some workers idle. Each worker sharing a part reads the whole part but
// measures only its own tracks. The results are the same.
func shared(units []unit, workers int) []unit {
	rest := len(units) % workers
	whole := units[:len(units)-rest]
	out := whole[:len(whole):len(whole)]
	for _, u := range units[len(whole):] {
		groups := 1
		if len(u.strips) == 1 {
			groups = (u.strips[0].channels + meter.SideBySide - 1) / meter.SideBySide
		}
		shares := 1
		for n := 2; n <= groups; n++ {
			rounds := func(n int) int { return (rest*n + workers - 1) / workers }
			if rounds(n)*shares < rounds(shares)*n {
				shares = n
			}
		}
		if shares == 1 {
			out = append(out, u)
			continue
		}
		for i := range shares {
			part := u
			part.from = i * groups / shares * meter.SideBySide
			part.to = min((i+1)*groups/shares*meter.SideBySide, u.strips[0].channels)
			out = append(out, part)
		}
	}
	return out
}

// units returns the work in order of parts. It combines strips whose files
// begin and end at the same frames around the part, up to the number of
// channels that the meter measures side by side.
func (j *job) units() []unit {
	parts := 0
	missing := make([]map[int]bool, len(j.strips))
	for i, s := range j.strips {
		missing[i] = map[int]bool{}
		for _, p := range s.parts {
			missing[i][p] = true
			parts = max(parts, p+1)
		}
	}
	var all []unit
	for part := range parts {
		open := map[string]int{} // layout → the unit that has room; index into all
		for i, s := range j.strips {
			if !missing[i][part] {
				continue
			}
			layout := ""
			if s.channels == 1 {
				layout = j.layout(s, part)
				if at, ok := open[layout]; ok && len(all[at].strips) < meter.SideBySide {
					all[at].strips = append(all[at].strips, s)
					continue
				}
			}
			all = append(all, unit{job: j, strips: []*strip{s}, part: part})
			if layout != "" {
				open[layout] = len(all) - 1
			}
		}
	}
	return all
}

// layout describes how a strip's files lie around a part.
func (j *job) layout(s *strip, part int) string {
	var b strings.Builder
	for _, r := range j.stretches(s, part) {
		fmt.Fprint(&b, r.from, r.to, r.own, r.file != nil, ";")
	}
	return b.String()
}

// channels returns how many tracks are read side by side.
func (u unit) channels() int {
	n := 0
	for _, s := range u.strips {
		n += s.channels
	}
	return n
}

// own returns a part's own frames.
func (j *job) own(s *strip, part int) (from, to int64) {
	length := partFrames(j.config.SampleRate)
	from = int64(part) * length
	return from, min(from+length, s.frames)
}

// runUp returns how many frames are read before a part.
func (j *job) runUp(part int) int {
	if part == 0 {
		return 0
	}
	return meter.RunUpFrames(j.config.SampleRate)
}

// stretch is a run of frames within one file, or within a gap between files.
// It belongs entirely to the part itself, or entirely to its run-up or
// run-out.
type stretch struct {
	file     *catalog.File // nil = nothing was recorded here
	from, to int64         // frames of the recording
	own      bool
}

// stretches splits the frames that are read for a part at the ends of files
// and of the part.
func (j *job) stretches(s *strip, part int) []stretch {
	ownFrom, ownTo := j.own(s, part)
	to := min(ownTo+int64(meter.RunOutFrames(j.config.SampleRate)), s.frames)
	var all []stretch
	cut := func(from, to int64, own bool) {
		for _, t := range tracks.Stretches(s.files, from, to) {
			r := stretch{from: t.From, to: t.To, own: own}
			if t.File >= 0 {
				r.file = &s.files[t.File]
			}
			all = append(all, r)
		}
	}
	cut(ownFrom-int64(j.runUp(part)), ownFrom, false)
	cut(ownFrom, ownTo, true)
	cut(ownTo, to, false)
	return all
}

// bytes returns the bytes of audio in the part's own frames.
func (u unit) bytes() int64 {
	bytes := int64(0)
	if !u.first() {
		return 0 // told of by another one
	}
	for _, s := range u.strips {
		from, to := u.own(s, u.part)
		for _, f := range s.files {
			frames := max(0, min(to, f.StartFrame+f.Frames)-max(from, f.StartFrame))
			bytes += frames * int64(s.channels*u.recording.SampleBytes)
		}
	}
	return bytes
}

// reads returns the files that the part's own frames lie in.
func (u unit) reads() []catalog.File {
	var files []catalog.File
	for _, s := range u.strips {
		from, to := u.own(s, u.part)
		for _, f := range s.files {
			if f.StartFrame < to && f.StartFrame+f.Frames > from {
				files = append(files, f)
			}
		}
	}
	return files
}
