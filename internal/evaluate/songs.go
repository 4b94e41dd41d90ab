package evaluate

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"nightreel/catalog"
	"nightreel/internal/feature"
	"nightreel/internal/meter"
	"nightreel/internal/songs"
)

// Tally counts how songs were found in nights of one kind.
type Tally struct {
	Nights   int
	Titles   Share     // takes that were played and were found under their title
	Unknown  Share     // songs nobody could know, that were given no title
	Invented int       // takes where nothing, or something else, was played
	Starts   []float64 // s, found minus played, of takes under the right title
	Ends     []float64
	// Sure counts the takes found with a confidence of 0.9 and more, Bins those
	// in tenths.
	Sure  Share
	Bins  [10]Share
	Wrong []string // what went wrong, for who wants to know why
}

// SongsReport is how songs were found.
type SongsReport struct {
	First     Tally // with a set list, no earlier night known
	Listed    Tally // with a set list, after earlier nights that nobody looked at
	Again     Tally // all of these, placed again when the later nights are known
	Confirmed Tally // with a set list, after earlier nights that a person confirmed
	Unlisted  Tally // without a set list, after two confirmed nights or more
	Talk      Tally // nights without a song
}

// Songs finds the songs of tours, night after night as a user would, and
// compares with what was played.
func Songs(ctx context.Context, part Part, tours, nights, talks int, progress func(string)) (*SongsReport, error) {
	m, err := newMaterial(ctx, part)
	if err != nil {
		return nil, err
	}
	r := &SongsReport{}
	for i := range tours {
		t, err := m.newTour(ctx, uint64(i+1), nights)
		if err != nil {
			return nil, err
		}
		progress(fmt.Sprintf("%s: tour %d of %d", part, i+1, tours))
		if err := r.tour(ctx, t); err != nil {
			return nil, err
		}
	}
	for i := range talks {
		t, err := m.newTalk(ctx, uint64(i+1))
		if err != nil {
			return nil, err
		}
		if err := r.talk(ctx, t); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// tour places every night by its set list, corrects nothing, and places all
// again; then once more, with each night confirmed before the next: with its
// set list and, from the third on, without.
func (r *SongsReport) tour(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	known := map[string]bool{}
	for i, n := range t.nights {
		if err := fill(ctx, store, t.stage, n, nightDate(i)); err != nil {
			return err
		}
		for _, title := range n.list {
			known[title] = true
		}
		tally := &r.Listed
		if i == 0 {
			tally = &r.First
		}
		if err := tally.place(ctx, store, i, n, n.list, known); err != nil {
			return err
		}
	}
	for range 2 {
		for i := range t.nights {
			if _, err := songs.Place(ctx, store, nightDate(i)); err != nil {
				return err
			}
		}
	}
	for i, n := range t.nights {
		takes, err := store.Takes(ctx, catalog.TakeFilter{Show: nightDate(i)})
		if err != nil {
			return err
		}
		r.Again.count(nightDate(i), n.played, takes, known)
	}
	return r.confirmed(ctx, t)
}

func (r *SongsReport) confirmed(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	known := map[string]bool{}
	for i, n := range t.nights {
		if err := fill(ctx, store, t.stage, n, nightDate(i)); err != nil {
			return err
		}
		if i >= 2 {
			if err := r.Unlisted.place(ctx, store, i, n, nil, known); err != nil {
				return err
			}
		}
		if i >= 1 {
			withList := maps.Clone(known)
			for _, title := range n.list {
				withList[title] = true
			}
			if err := r.Confirmed.place(ctx, store, i, n, n.list, withList); err != nil {
				return err
			}
		}
		if err := confirm(ctx, store, nightDate(i), n.played); err != nil {
			return err
		}
		for _, p := range n.played {
			known[p.Song] = true
		}
	}
	return nil
}

// place places a night, with a set list or without, and counts.
func (t *Tally) place(ctx context.Context, store *catalog.Store, i int, n *night, list []string, known map[string]bool) error {
	var entries []catalog.SetListEntry
	for _, title := range list {
		entries = append(entries, catalog.SetListEntry{Song: title})
	}
	if err := store.SaveSetList(ctx, nightDate(i), entries); err != nil {
		return err
	}
	placed, err := songs.Place(ctx, store, nightDate(i))
	if err != nil {
		return err
	}
	t.count(nightDate(i), n.played, placed.Takes, known)
	return nil
}

// confirm does what a person does who looked at the night: every take is as it
// was played.
func confirm(ctx context.Context, store *catalog.Store, date catalog.Date, played []Played) error {
	takes, err := store.Takes(ctx, catalog.TakeFilter{Show: date})
	if err != nil {
		return err
	}
	var remove []catalog.TakeID
	for _, t := range takes {
		remove = append(remove, t.ID)
	}
	recs, err := store.Recordings(ctx, catalog.RecordingFilter{Show: date})
	if err != nil {
		return err
	}
	var save []catalog.Take
	for _, p := range played {
		save = append(save, catalog.Take{Show: date, Song: p.Song, RecordingID: recs[0].ID, StartFrame: recs[0].Frame(p.StartS), EndFrame: recs[0].Frame(p.EndS), FoundBy: catalog.ByPerson, Confidence: 1})
	}
	return store.EditTakes(ctx, remove, save)
}

func (r *SongsReport) talk(ctx context.Context, t *tour) error {
	store, done, err := newCatalog(ctx)
	if err != nil {
		return err
	}
	defer done()
	if err := fill(ctx, store, t.stage, t.nights[0], nightDate(0)); err != nil {
		return err
	}
	placed, err := songs.Place(ctx, store, nightDate(0))
	if err != nil {
		return err
	}
	r.Talk.count(nightDate(0), nil, placed.Takes, nil)
	return nil
}

// newCatalog makes a catalog that is gone when done is called.
func newCatalog(ctx context.Context) (store *catalog.Store, done func(), err error) {
	dir, err := os.MkdirTemp("", "nightreel-evaluate-catalog-")
	if err != nil {
		return nil, nil, err
	}
	store, err = catalog.Open(ctx, filepath.Join(dir, "catalog.db"))
	if err != nil {
		os.RemoveAll(dir)
		return nil, nil, err
	}
	return store, func() { store.Close(); os.RemoveAll(dir) }, nil
}

func nightDate(i int) catalog.Date {
	return catalog.Date(time.Date(2031, 5, 2, 0, 0, 0, 0, time.UTC).AddDate(0, 0, i).Format("2006-01-02"))
}

// count compares the takes of a night with what was played. known are the
// titles that somebody has told.
func (t *Tally) count(date catalog.Date, played []Played, takes []catalog.Take, known map[string]bool) {
	t.Nights++
	right := make([]bool, len(takes))
	for _, p := range played {
		found := -1
		for i, k := range takes {
			if overlap := min(p.EndS, k.EndS()) - max(p.StartS, k.StartS()); overlap > 0.5*(p.EndS-p.StartS) && overlap > 0.5*(k.EndS()-k.StartS()) {
				found = i
			}
		}
		told := found >= 0 && !strings.HasPrefix(takes[found].Song, "Song ")
		if !known[p.Song] {
			t.Unknown.Of++
			if !told {
				t.Unknown.Hits++
				if found >= 0 {
					right[found] = true
				}
			} else {
				t.wrong("%s %6.0f–%6.0f %s (unknown): found as %s, %.2f", date, p.StartS, p.EndS, p.Song, takes[found].Song, takes[found].Confidence)
			}
			continue
		}
		t.Titles.Of++
		if found < 0 || !catalog.SameName(takes[found].Song, p.Song) {
			what := "not found"
			if found >= 0 {
				what = fmt.Sprintf("found as %s, %.2f", takes[found].Song, takes[found].Confidence)
			}
			t.wrong("%s %6.0f–%6.0f %s: %s", date, p.StartS, p.EndS, p.Song, what)
			continue
		}
		t.Titles.Hits++
		right[found] = true
		k := takes[found]
		t.Starts, t.Ends = append(t.Starts, k.StartS()-p.StartS), append(t.Ends, k.EndS()-p.EndS)
		if s, e := k.StartS()-p.StartS, k.EndS()-p.EndS; math.Abs(s) > 4 || math.Abs(e) > 4 {
			t.wrong("%s %6.0f–%6.0f %s: starts %+.1f s, ends %+.1f s", date, p.StartS, p.EndS, p.Song, s, e)
		}
	}
	for i, k := range takes {
		if k.FoundBy == catalog.ByPerson {
			continue
		}
		if !right[i] {
			t.Invented++
			t.wrong("%s %6.0f–%6.0f invented: %s, %.2f", date, k.StartS(), k.EndS(), k.Song, k.Confidence)
		}
		hit := 0
		if right[i] {
			hit = 1
		}
		if k.Confidence >= 0.9 {
			t.Sure.Hits, t.Sure.Of = t.Sure.Hits+hit, t.Sure.Of+1
		}
		b := &t.Bins[min(9, int(10*k.Confidence))]
		b.Hits, b.Of = b.Hits+hit, b.Of+1
	}
}

func (t *Tally) wrong(format string, args ...any) {
	t.Wrong = append(t.Wrong, fmt.Sprintf(format, args...))
}

// within returns what a percentage of errors, whatever their sign, stays below.
func within(errors []float64, percent int) float64 {
	size := make([]float64, len(errors))
	for i, e := range errors {
		size[i] = math.Abs(e)
	}
	if len(size) == 0 {
		return math.NaN()
	}
	slices.Sort(size)
	return size[min(len(size)*percent/100, len(size)-1)]
}

func (t *Tally) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d nights; titles right %v; unknown left untitled %v; invented %d\n", t.Nights, t.Titles, t.Unknown, t.Invented)
	fmt.Fprintf(&b, "  start within %.2f s (median) %.2f (95 %%) %.2f (all); end %.2f %.2f %.2f\n",
		within(t.Starts, 50), within(t.Starts, 95), within(t.Starts, 100), within(t.Ends, 50), within(t.Ends, 95), within(t.Ends, 100))
	fmt.Fprintf(&b, "  confidence 0.9 and more: right %v; by tenths:", t.Sure)
	for i, s := range t.Bins {
		if s.Of > 0 {
			fmt.Fprintf(&b, "  0.%d: %d/%d", i, s.Hits, s.Of)
		}
	}
	return b.String()
}

// fill puts a night into the catalog, as a scan would have left it.
func fill(ctx context.Context, store *catalog.Store, st stage, n *night, date catalog.Date) error {
	const rate = 48000
	h := n.hear(st)
	show, err := store.EnsureShow(ctx, catalog.Show{Date: date})
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
	const hops = meter.PartBlocks / hopBlocks * feature.PackedBytes
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
