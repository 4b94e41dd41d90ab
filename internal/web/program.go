package web

import (
	"slices"

	"nightreel/catalog"
	"nightreel/internal/playback"
)

// programDoc is the program as pages get it: without the paths of files.
type programDoc struct {
	Desk     string                  `json:"desk"`
	Rate     int                     `json:"sample_rate"`
	Outputs  int                     `json:"outputs"` // highest in use
	Items    []itemDoc               `json:"items"`
	Inputs   []playback.ProgramInput `json:"inputs"`
	Problems []string                `json:"problems"`
}

type itemDoc struct {
	Song      string                   `json:"song"`
	Show      catalog.ShowKey          `json:"show"`
	Rig       string                   `json:"rig"`
	LengthS   float64                  `json:"length_s"`
	Markers   []playback.ProgramMarker `json:"markers"`
	Trims     []float64                `json:"trims_db"`  // the session's own, for each input; 0 where it does not play
	Converted bool                     `json:"converted"` // recorded at another rate than it is played at
}

func newProgramDoc(p *playback.Program) *programDoc {
	d := &programDoc{Desk: p.Desk, Rate: p.Rate, Outputs: p.Outputs, Inputs: p.Inputs, Problems: p.Problems, Items: []itemDoc{}}
	for _, it := range p.Items {
		item := itemDoc{Song: it.Song, Show: it.Show, Rig: it.Rig, LengthS: it.LengthS, Markers: it.Markers, Trims: make([]float64, len(p.Inputs))}
		for _, v := range it.Voices {
			item.Converted = item.Converted || v.Rate != p.Rate
			if i := slices.IndexFunc(p.Inputs, func(in playback.ProgramInput) bool { return in.Output == v.Output }); i >= 0 {
				item.Trims[i] = v.TrimDB
			}
		}
		d.Items = append(d.Items, item)
	}
	return d
}
