package evidence

import (
	"nightreel/catalog"
	"nightreel/internal/channelsound"
)

// Recording is what is known of one recording of a show when it is judged. Nothing
// changes it once it is loaded.
type Recording struct {
	SampleRate int   // Hz
	Frames     int64 // length
	Tracks     []Track
	Takes      []Take
	Inputs     []catalog.Input // the input list in force
	Files      []catalog.File
	// Elsewhere has the lines of the input list that another recording of the same
	// rig holds for the same time. nil: that recording reports the missing tracks.
	Elsewhere map[int]bool
	// Usual has, by key of the channel, how many of the nearest other shows recorded
	// it, and Others how many shows these are.
	Usual  map[string]int
	Others int
	// Past has, by key of the channel, the channel on the nearest other shows, the
	// nearest first; only channels that [Source.WithPast] was asked for.
	Past map[string][]Past

	// Sound is what the recording sounds like, and Tour what the nearest other shows
	// sound like, the nearest first; nil where a scan kept none of that.
	Sound *channelsound.Night
	Tour  []*channelsound.Night
}

// Take is a song as it was played, in frames of the recording.
type Take struct {
	Song       string
	Start, End int64
}

// Past is a channel on another show.
type Past struct {
	Show     catalog.ShowKey
	BitDepth int // of its recording; 0 if it is not known
	Track    Track
	Takes    []Take // of that show, in frames of the track's recording
}

// SongAt returns the take that holds a frame, or nil.
func (r *Recording) SongAt(frame int64) *Take {
	for i := range r.Takes {
		if t := &r.Takes[i]; frame >= t.Start && frame < t.End {
			return t
		}
	}
	return nil
}

// Seconds returns a length in seconds.
func (r *Recording) Seconds(frames int64) float64 { return float64(frames) / float64(r.SampleRate) }

// TrackOf returns the track of a voice, nil for none.
func (r *Recording) TrackOf(v *channelsound.Voice) *Track {
	for i := range r.Tracks {
		if r.Tracks[i].Number == v.Track.Number {
			return &r.Tracks[i]
		}
	}
	return nil
}

// Before returns a channel's voices on the other shows, the nearest first.
func (r *Recording) Before(channel string) []*channelsound.Voice {
	var all []*channelsound.Voice
	for _, p := range r.Tour {
		if v := p.Find(catalog.Key(channel)); v != nil {
			all = append(all, v)
		}
	}
	return all
}

// Spans returns takes as package channelsound has them.
func Spans(takes []Take) []channelsound.Span {
	var all []channelsound.Span
	for _, t := range takes {
		all = append(all, channelsound.Span{Song: t.Song, Start: t.Start, End: t.End})
	}
	return all
}

// ListLine returns the number of the input list's line that a track was recorded
// for, 0 for none.
func ListLine(t catalog.Track) int {
	if t.Assumed {
		return t.Input.Track
	}
	return t.Number
}

// GainDB returns how much more preamp gain one track had than another, as far
// as the input lists tell.
func GainDB(a, b Track) float64 {
	if a.Input.GainDB == nil || b.Input.GainDB == nil {
		return 0
	}
	return *a.Input.GainDB - *b.Input.GainDB
}

// Options are the choices of [Open]. The zero value is what is measured by default.
type Options struct {
	// MinClipRun is the shortest run of samples at full scale, in samples, that
	// counts as clipped. 0, or less than the scan looked for, means all runs
	// that the scan found: 3 and longer.
	MinClipRun int
}
