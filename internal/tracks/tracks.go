// Package tracks reads the samples of recorded tracks from the files that hold
// them. Whatever needs samples after a recording was found reads them here:
// scanning, rendering, playing, listening, drawing, the line check.
//
// There are three layers; use the highest that fits:
//
//   - [Open] returns one [Track] of the catalog. It gives samples, a WAV stream
//     ([Track.WAV]) and a waveform ([Track.Waveform]).
//   - [Reader] reads several tracks of one recording; each file is read once for
//     all tracks that it holds.
//   - [File] describes one file and opens it. A player's process, which has no
//     catalog, gets such descriptions through a pipe; a scan reads whole frames
//     of many files in step.
//
// One rule says whether a file is still the one that was scanned ([File.Open]),
// one where the samples of a frame lie ([Stretches]), and two types say what went
// wrong: *[ChangedError] and *[UnreadableError]. Recordings are opened read-only.
package tracks

import (
	"cmp"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// Format returns how the samples of a recording are coded in a file of so many
// channels.
func Format(r catalog.Recording, channels int) wavfile.Format {
	f := wavfile.Format{SampleRate: r.SampleRate, Channels: channels, BitDepth: r.BitDepth, ContainerBytes: r.SampleBytes}
	if r.Float() {
		f.Encoding = wavfile.Float
	}
	return f
}

// Holding returns the files that hold a track, in order of time.
func Holding(files []catalog.File, track int) []catalog.File {
	found := []catalog.File{}
	for _, f := range files {
		if f.FirstTrack <= track && track < f.FirstTrack+f.Channels && f.Frames > 0 {
			found = append(found, f)
		}
	}
	slices.SortStableFunc(found, func(a, b catalog.File) int { return cmp.Compare(a.StartFrame, b.StartFrame) })
	return found
}

// Stretch is a run of frames that lie in one file, or in none.
type Stretch struct {
	File     int   // index of the file; -1: nothing was recorded here
	From, To int64 // frames of the recording
}

// Stretches cuts the frames from … to of a recording wherever one of the files
// begins and wherever the one that is read ends. The files hold the same track.
// If some overlap, the first in the list counts.
func Stretches(files []catalog.File, from, to int64) []Stretch {
	var all []Stretch
	for at := from; at < to; {
		s := Stretch{File: -1, From: at, To: to}
		for i := range files {
			f := &files[i]
			switch {
			case f.StartFrame > at:
				s.To = min(s.To, f.StartFrame)
			case f.StartFrame+f.Frames > at && s.File < 0:
				s.File = i
				s.To = min(s.To, f.StartFrame+f.Frames)
			}
		}
		all = append(all, s)
		at = s.To
	}
	return all
}
