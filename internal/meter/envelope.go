package meter

import "slices"

// Envelope holds the measurements of one track, or of a stretch of it, from
// which all figures are computed without reading the audio again. Positions are
// frames of the recording.
type Envelope struct {
	SampleRate int     // Hz
	Frames     int64   // length of the whole recording
	First      int     // index in the recording of the first block held
	Blocks     []Block // consecutive; only the recording's last may be short
	Events     []Event // ordered by Start, then Kind
}

// Join makes an envelope from consecutive parts of one track of a recording of
// the given rate (Hz) and length; first is the index in the recording of the
// first part's first block. It rejoins runs that were cut at a part's end. It
// drops zero runs that turn out to have no signal beside them: so a track that
// is silent throughout has none.
func Join(rate int, frames int64, first int, parts ...Part) Envelope {
	e := Envelope{SampleRate: rate, Frames: frames, First: first}
	blocks, events := 0, 0
	for _, p := range parts {
		blocks += len(p.Blocks)
		events += len(p.Events)
	}
	e.Blocks = make([]Block, 0, blocks)
	e.Events = make([]Event, 0, events)
	var open [lastKind + 1]int // index+1 of the latest event of each kind
	for _, p := range parts {
		e.Blocks = append(e.Blocks, p.Blocks...)
		for _, ev := range p.Events {
			if i := open[ev.Kind]; i > 0 {
				if last := &e.Events[i-1]; last.Start+last.Frames == ev.Start {
					last.Frames += ev.Frames
					last.Level = max(last.Level, ev.Level)
					continue
				}
			}
			e.Events = append(e.Events, ev)
			open[ev.Kind] = len(e.Events)
		}
	}
	e.Events = slices.DeleteFunc(e.Events, func(ev Event) bool {
		return ev.Kind == ZeroRun && ev.Level < signalBeside
	})
	return e
}

// BlockFrames returns the frames of a whole block.
func (e Envelope) BlockFrames() int { return BlockFrames(e.SampleRate) }

// length returns the frames of the i-th block held.
func (e Envelope) length(i int) int {
	size := int64(e.BlockFrames())
	return int(max(0, min(size, e.Frames-int64(e.First+i)*size)))
}

// snap returns the range of held blocks for a span of frames. Each end moves to
// the nearest block start, or to the later one of two equally near. An end at or
// beyond the recording's end moves to the end of its last block.
func (e Envelope) snap(start, end int64) (from, to int) {
	size := int64(e.BlockFrames())
	near := func(frame int64) int {
		frame = max(0, frame)
		if frame >= e.Frames {
			return len(e.Blocks)
		}
		return int(max(0, min((frame+size/2)/size-int64(e.First), int64(len(e.Blocks)))))
	}
	from, to = near(start), near(end)
	if start >= e.Frames || to < from {
		to = from
	}
	return from, to
}
