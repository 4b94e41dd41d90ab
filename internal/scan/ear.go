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
}

func newEar(cfg meter.Config) (*ear, error) {
	l, err := spectrum.New(spectrum.Config{
		SampleRate: cfg.SampleRate, Channels: cfg.Channels, Type: spectrum.SampleType(cfg.Type), First: cfg.First, Frames: cfg.Frames,
	})
	return &ear{l}, err
}

// features returns what was heard, by track.
func (e *ear) features() [][]catalog.Feature {
	var all [][]catalog.Feature
	for _, t := range e.Finish() {
		all = append(all, []catalog.Feature{{Kind: catalog.Tone, Data: spectrum.Encode(t)}})
	}
	return all
}
