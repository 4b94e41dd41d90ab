// Package demo makes an invented tour: folders of recordings as they come off
// the record rigs, with input lists, set lists and desk files, and the truth
// about all of it.
//
// Start with [Make]. It returns the [Truth]: what was played when, which faults
// were planted where, and what only looks like a fault. The tour serves both as
// demonstration and as test data. The package never reads or changes a recording
// that it has not made itself, and writes only into an empty folder.
//
// The tour: a band plays four nights with 16 inputs, five songs, three to five a
// night, which differ in tempo, form and order; between them are applause and
// talk. Everything is synthesised on a stage with distances: every microphone
// picks up every source, weaker and later with the distance, and the hall;
// cables from instruments carry their own instrument only. Each preamp adds
// noise that rises with its gain.
//
//	night 1  one mono file a track with bext and iXML, 48 kHz, 24 bit;
//	         one track ends early, the bass rig has flat tops in one song,
//	         a plug crackles
//	night 2  polyphonic RF64 in three segments over midnight, markers with
//	         the songs' titles, 44.1 kHz, 16 bit; snare clipped in one song,
//	         one voice goes silent, one dropout, one DC offset, a ground
//	         loop hums, one line is on two tracks; a song played twice
//	night 3  re-patched, with a guest and a new bass rig; two rigs, main in
//	         mono segments TRK01_0001.wav, backup in one polyphonic file
//	         that starts late, 48 kHz, 16 bit; one dead microphone, one
//	         dropout over seven tracks of the main rig, two of its inputs
//	         exchanged
//	night 4  mono files by channel name, 44.1 kHz, 16 bit; four of them with
//	         the header of a power cut, one track not recorded, one
//	         microphone with inverted polarity, one preamp turned down
//	         between two songs
//
// Beside the recordings lie other files that real drives hold: a resource-fork
// companion, a zero-byte file, a text, a hidden folder.
package demo

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Scale is the size of the tour.
type Scale int

const (
	// Full is the tour for people: just under 400 MB.
	Full Scale = iota
	// Small is the tour for tests: the same shows and forms at a quarter of the
	// sample rates and about half the length, under 60 MB. It lacks the faults
	// that are inaudible at such rates and lengths.
	Small
)

// Options are the choices of [Make]. The zero value makes the full tour.
type Options struct {
	Scale Scale
	// Progress, if set, is called with the bytes of audio written so far and in
	// all. Calls do not overlap.
	Progress func(done, total int64)
}

// NotEmptyError reports that the folder for the tour is not empty.
type NotEmptyError struct{ Dir string }

func (e *NotEmptyError) Error() string {
	return e.Dir + ": demo tour not made: the folder is not empty"
}

// Hint returns what to do about it.
func (e *NotEmptyError) Hint() string { return "name a new folder; the demo never overwrites files" }

// Make makes the tour in dir, which is created if it is missing and must be
// empty: otherwise the error is a [*NotEmptyError]. The same options give the
// same bytes on machines of one architecture. After an error or a cancelled
// context the folder holds a part of the tour, in which every file is whole.
func Make(ctx context.Context, dir string, opt Options) (*Truth, error) {
	if err := emptyFolder(dir); err != nil {
		return nil, err
	}
	m := &maker{dir: dir, opt: opt, truth: &Truth{
		Band: band, Songs: []string{}, Shows: []Show{}, Takes: []Take{}, Faults: []Fault{}, Healthy: []Healthy{}, Notes: notes(),
	}}
	for _, s := range repertoire() {
		m.truth.Songs = append(m.truth.Songs, s.title)
	}
	shows, scores := plan(opt.Scale)
	for i, sh := range shows {
		m.total += audioBytes(sh, scores[i])
	}
	for i, sh := range shows {
		if err := m.show(ctx, sh, scores[i]); err != nil {
			return nil, err
		}
	}
	if err := m.papers(shows); err != nil {
		return nil, err
	}
	if opt.Progress != nil {
		opt.Progress(m.total, m.total)
	}
	return m.truth, nil
}

// plan returns the tour at a scale, and the score of each show.
func plan(scale Scale) ([]showPlan, []*score) {
	shows := tour()
	scores := make([]*score, len(shows))
	for i, sh := range shows {
		if scale == Small {
			for r := range sh.rigs {
				sh.rigs[r].rate /= 4
			}
		}
		scores[i] = perform(sh, repertoire(), scale)
	}
	return shows, scores
}

// audioBytes returns the bytes of audio of a show with all tracks whole.
func audioBytes(sh showPlan, sc *score) int64 {
	n := int64(0)
	for _, rig := range sh.rigs {
		n += int64(sc.length * (rig.to - rig.from) * float64(rig.rate*rig.bits/8*len(sh.patch)))
	}
	return n
}

// emptyFolder creates dir, or checks that it is empty.
func emptyFolder(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		err = os.MkdirAll(dir, 0o777)
	case err == nil && len(entries) > 0:
		return &NotEmptyError{dir}
	}
	if err != nil {
		return fmt.Errorf("%s: demo tour not made: %w", dir, err)
	}
	return nil
}

// path returns the path of a file that is named relative to the tour's folder,
// with slashes.
func (m *maker) path(name string) string { return filepath.Join(m.dir, filepath.FromSlash(name)) }
