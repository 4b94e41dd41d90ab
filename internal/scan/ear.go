package scan

import (
	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// ear listens to a part beside the meter, to its own frames alone, and makes
// the features that are kept of each track.
type ear struct {
	*spectrum.Listener
	first   int // look of the recording that is the part's first
	runUp   int // frames that the meter is given before the part
	folder  *spectrum.Folder
	harmony [][]byte // by track
}

func newEar(cfg meter.Config) (*ear, error) {
	e := &ear{first: int(cfg.First / spectrum.HopFrames(cfg.SampleRate)), runUp: cfg.RunUp, harmony: make([][]byte, cfg.Channels)}
	var err error
	e.Listener, err = spectrum.New(spectrum.Config{
		SampleRate: cfg.SampleRate, Channels: cfg.Channels, Of: cfg.Of, From: cfg.From, Type: cfg.Type, First: cfg.First, Frames: cfg.Frames,
		Each: e.look,
	})
	return e, err
}

// rows listens to what the meter decoded.
func (e *ear) rows(r meter.Rows) { e.WriteRows(r, e.runUp) }

// look keeps the harmony of a look at some tracks.
func (e *ear) look(s *spectrum.Snapshot) {
	if e.folder == nil {
		e.folder = spectrum.NewFolder(s.LowBinHz, spectrum.Bins, s.LowGain)
	}
	at := (s.Index - e.first) * spectrum.ChromaBytes
	chroma := e.folder.FoldLanes(s.Low[:])
	for lane := range s.Lanes {
		h := &e.harmony[s.First+lane]
		for len(*h) < at+spectrum.ChromaBytes {
			*h = append(*h, 0)
		}
		spectrum.PackChroma((*h)[at:], &chroma[lane])
	}
}

// features returns what was heard, by track.
func (e *ear) features() [][]catalog.Feature {
	var all [][]catalog.Feature
	for i, t := range e.Finish() {
		kept := []catalog.Feature{{Kind: catalog.Tone, Data: spectrum.Encode(t)}}
		if e.harmony[i] != nil { // else the part is shorter than a look
			kept = append(kept, catalog.Feature{Kind: catalog.Harmony, Data: e.harmony[i]})
		}
		all = append(all, kept)
	}
	return all
}
