package linecheck

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/scan"
	"nightreel/internal/spectrum"
	"nightreel/internal/stats"
)

// NotReadError reports that there was nothing to check.
type NotReadError struct {
	Path     string
	Problems []scan.Problem // of the files that were tried
}

func (e *NotReadError) Error() string {
	if len(e.Problems) == 0 {
		return e.Path + ": nothing to check: no WAV file"
	}
	first := e.Problems[0]
	why := strings.TrimPrefix(strings.TrimPrefix(first.Problem, "passed over: "), "not read: ")
	text := fmt.Sprintf("%s: nothing to check: %s", first.File, why)
	switch more := len(e.Problems) - 1; {
	case more == 1:
		text += "; the other file holds no audio either"
	case more > 1:
		text += fmt.Sprintf("; the %d other files hold no audio either", more)
	}
	return text
}

// Hint returns the remedy for the only file, or which files can be checked.
func (e *NotReadError) Hint() string {
	if len(e.Problems) == 1 && e.Problems[0].Hint != "" {
		return e.Problems[0].Hint
	}
	return "give the line check's WAV file, or the folder that holds its WAV files, once the recorder has closed them"
}

// recording is a line check, measured.
type recording struct {
	*channelsound.Night
	peaks  seconds
	sounds map[catalog.TrackID]timbre // of inputs that are played for a short while only
}

// lowerQuiet lowers the quiet level of inputs to that of their channels on the tour: a
// minute of a song may have no quiet second.
func (r *recording) lowerQuiet(nights []*channelsound.Night) {
	for i := range r.Voices {
		v := &r.Voices[i]
		var quiet []float64
		var bands [spectrum.Bands][]float64
		for _, n := range nights {
			if o := n.Find(keyOf(v)); o != nil {
				quiet = append(quiet, o.Quiet)
				for b, level := range o.QuietBands {
					bands[b] = append(bands[b], level)
				}
			}
		}
		if len(quiet) == 0 {
			continue
		}
		v.Quiet = min(v.Quiet, stats.Median(quiet))
		for b := range v.QuietBands {
			v.QuietBands[b] = min(v.QuietBands[b], stats.Median(bands[b]))
		}
	}
}

// holds reports whether the recording has the channel of a track.
func (r *recording) holds(t catalog.Track) bool { return r.Find(catalog.Key(t.Channel)) != nil }

// soundOf returns the spectrum of an input while it is played.
func (r *recording) soundOf(v *channelsound.Voice) timbre {
	if t, ok := r.sounds[v.Track.ID]; ok {
		return t
	}
	return timbreOf(sounding(v, nil))
}

// measure scans the recording into a temporary catalog. Tracks get the numbers
// of the inputs, if their files give a number or are named after a channel.
func measure(ctx context.Context, path string, inputs []catalog.Input, opt Options, p *scan.Progress) (*recording, []scan.Problem, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, nil, err
	}
	if info, err := os.Stat(path); err != nil || !info.IsDir() && !info.Mode().IsRegular() {
		why := err
		var pe *fs.PathError
		if errors.As(err, &pe) {
			why = pe.Err
		} else if err == nil {
			why = errors.New("neither a file nor a folder")
		}
		return nil, nil, fmt.Errorf("%s: line check not read: %w", path, why)
	}
	dir, err := os.MkdirTemp("", "nightreel-linecheck-")
	if err != nil {
		return nil, nil, err
	}
	defer os.RemoveAll(dir)
	own, err := catalog.Open(ctx, filepath.Join(dir, "line.db"))
	if err != nil {
		return nil, nil, err
	}
	defer own.Close()
	if len(inputs) > 0 {
		if err := own.SaveInputList(ctx, catalog.InputList{From: "0001-01-01", Inputs: inputs}); err != nil {
			return nil, nil, err
		}
	}
	result, err := scan.Run(ctx, own, []string{path}, scan.Options{Date: opt.Date.Date(), Rig: opt.Rig, Files: true}, p)
	if none := (*scan.NoRecordingsError)(nil); errors.As(err, &none) {
		return nil, nil, &NotReadError{path, result.Problems}
	}
	if err != nil {
		return nil, result.Problems, err
	}
	recordings, err := own.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return nil, result.Problems, err
	}
	if len(recordings) == 0 {
		return nil, nil, &NotReadError{path, result.Problems}
	}
	r := choose(recordings, opt.Rig)
	if len(recordings) > 1 {
		result.Problems = append(result.Problems, scan.Problem{File: path, Problem: fmt.Sprintf(
			"the folder holds %d recordings; only the one of rig %s with %d tracks, %.0f s long, was checked", len(recordings), r.Rig, r.Tracks, r.Seconds(r.Frames))})
	}
	night, err := channelsound.Load(ctx, own, r, nil)
	if err != nil {
		return nil, result.Problems, err
	}
	numberByList(night.Voices, inputs)
	line := &recording{Night: night}
	if line.peaks, err = secondsOf(ctx, own, r.ID, func(catalog.Track) bool { return true }); err == nil {
		line.sounds, err = closer(ctx, own, r, night, line.peaks)
	}
	return line, result.Problems, err
}

// numberByList gives tracks without a known number that of the input list's
// channel of the same name. Tracks that are not in the list come after all
// others.
func numberByList(voices []channelsound.Voice, inputs []catalog.Input) {
	next := 1
	for _, in := range inputs {
		next = max(next, in.Track+1)
	}
	for _, v := range voices {
		if !v.Track.Assumed {
			next = max(next, v.Track.Number+1)
		}
	}
	for i := range voices {
		switch t := &voices[i].Track; {
		case !t.Assumed:
		case t.Input.Track > 0:
			t.Number = t.Input.Track
		default:
			t.Number = next
			next++
		}
	}
	slices.SortStableFunc(voices, func(a, b channelsound.Voice) int { return cmp.Compare(a.Track.Number, b.Track.Number) })
}

// choose returns the longest recording of a rig, or of all if the rig has none.
func choose(all []catalog.Recording, rig string) catalog.Recording {
	best := all[0]
	for _, r := range all[1:] {
		if of, had := r.Rig == rig, best.Rig == rig; of && !had || of == had && r.Seconds(r.Frames) > best.Seconds(best.Frames) {
			best = r
		}
	}
	return best
}
