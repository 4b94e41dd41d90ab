package refresh

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strconv"

	"nightreel/catalog"
)

// Dump writes all results as text, a line each. Order and form depend on facts
// alone: no row ids, no paths, no times of entry. Catalogs that hold the same
// facts have equal dumps once they are up to date.
func Dump(ctx context.Context, store *catalog.Store, w io.Writer) error {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	own, err := store.Results(ctx, catalog.OwnResult)
	if err != nil {
		return err
	}
	notJudged, err := NotJudged(ctx, store)
	if err != nil {
		return err
	}
	d := dump{w: w}
	for _, show := range shows {
		d.line("show", show.Key, show.Date, show.Name, show.Venue)
		at := map[catalog.RecordingID]int{}
		for i, r := range show.Recordings {
			at[r.ID] = i
			d.line("recording", show.Key, i, r.Rig, r.SampleRate, r.BitDepth, r.Encoding, r.Frames, r.StartsAt, r.OffsetS)
			tracks, err := store.Tracks(ctx, catalog.TrackFilter{Recording: r.ID})
			if err != nil {
				return err
			}
			for _, t := range tracks {
				d.line("track", show.Key, i, t.Number, t.Name, t.Channel, t.Frames)
			}
		}
		d.line("own", show.Key, json.RawMessage(own[show.Key].Content))
		takes, err := store.Takes(ctx, catalog.TakeFilter{Show: show.Key})
		if err != nil {
			return err
		}
		for _, t := range takes {
			d.line("take", show.Key, t.Song, t.Nth, at[t.RecordingID], t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence)
		}
		findings, err := store.Findings(ctx, catalog.FindingFilter{Show: show.Key})
		if err != nil {
			return err
		}
		slices.SortStableFunc(findings, func(a, b catalog.Finding) int {
			return cmp.Or(cmp.Compare(at[a.RecordingID], at[b.RecordingID]), cmp.Compare(a.Track, b.Track), cmp.Compare(a.StartFrame, b.StartFrame),
				cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.EndFrame, b.EndFrame), cmp.Compare(a.Text, b.Text))
		})
		for _, f := range findings {
			d.line("finding", show.Key, at[f.RecordingID], f.Rig, f.Track, f.Tracks, f.Channel, f.Kind, f.StartFrame, f.EndFrame, f.Severity, f.Accepted, f.Evidence, f.Text)
		}
		for _, n := range notJudged[show.Key] {
			d.line("not judged", show.Key, n)
		}
	}
	return d.err
}

// dump writes lines until the first error.
type dump struct {
	w   io.Writer
	err error
}

func (d *dump) line(kind string, values ...any) {
	text := kind
	for _, v := range values {
		if f, ok := v.(float64); ok {
			text += " " + strconv.FormatFloat(f, 'g', -1, 64)
			continue
		}
		if raw, ok := v.(json.RawMessage); ok && len(raw) == 0 {
			v = nil
		}
		b, err := json.Marshal(v)
		if err != nil && d.err == nil {
			d.err = err
		}
		text += " " + string(b)
	}
	if d.err == nil {
		_, d.err = fmt.Fprintln(d.w, text)
	}
}
