package evaluate

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/meter"
	"nightreel/internal/spectrum"
)

// fill stores a night in the catalog, as a scan would have left it.
func fill(ctx context.Context, store *catalog.Store, st setup, n *night, date catalog.ShowKey) error {
	const rate = 48000
	h := n.hear(st)
	show, err := store.EnsureShow(ctx, catalog.Show{Date: date.Date()})
	if err != nil {
		return err
	}
	blocks := len(h.level[0])
	frames := int64(blocks) * int64(meter.BlockFrames(rate))
	var tracks []catalog.Track
	for i, in := range st.inputs {
		name := in.name
		if !st.named {
			name = fmt.Sprintf("Track %02d", i+1)
		}
		tracks = append(tracks, catalog.Track{Number: i + 1, Name: name, Frames: frames})
	}
	rec, err := store.SaveRecording(ctx, catalog.Recording{ShowID: show.ID, Rig: catalog.MainRig, SampleRate: rate, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: frames}, nil, tracks, nil)
	if err != nil {
		return err
	}
	saved, err := store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID})
	if err != nil {
		return err
	}
	slices.SortFunc(saved, func(a, b catalog.Track) int { return cmp.Compare(a.Number, b.Number) })
	var parts []catalog.Part
	const hops = meter.PartBlocks / hopBlocks * spectrum.ChromaBytes
	for i, track := range saved {
		for at := 0; at < blocks; at += meter.PartBlocks {
			var p meter.Part
			for _, ms := range h.level[i][at:min(at+meter.PartBlocks, blocks)] {
				rms := float32(math.Sqrt(float64(ms)))
				p.Blocks = append(p.Blocks, meter.Block{Peak: 4 * rms, TruePeak: 4 * rms, MeanSquare: ms, KMeanSquare: ms, MaxMomentary: ms})
			}
			minute := at / meter.PartBlocks
			harmony := h.harmony[i][min(minute*hops, len(h.harmony[i])):min((minute+1)*hops, len(h.harmony[i]))]
			parts = append(parts, catalog.Part{Track: track.ID, Part: minute, Data: meter.Encode(p),
				Features: []catalog.Feature{{Kind: catalog.Harmony, Data: harmony}}})
		}
	}
	return store.PutParts(ctx, parts, nil)
}
