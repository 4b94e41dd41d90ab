package evaluate

import (
	"context"
	"encoding/gob"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/scan"
)

// KindTally counts how well faults of one kind were found.
type KindTally struct {
	Found Share // share of the planted faults that were found
	True  Share // share of the findings of this kind that are true
}

// FaultsReport is how well faults were found.
type FaultsReport struct {
	Nights, Tracks int
	Hours          float64 // of all tracks together
	Kinds          map[catalog.FindingKind]*KindTally
	False          int
	Why            []string
}

// faultNights is the number of nights of a tour; the first has no faults.
const faultNights = 4

// FaultOptions are the choices of [Faults].
type FaultOptions struct {
	Tours int
	Kinds []catalog.FindingKind // kinds to plant in turn; nil = all
}

// Faults makes tours of broken nights as audio, scans them as a user would, and
// compares the findings with the planted faults. Only one night's audio is on
// disk at a time.
func Faults(ctx context.Context, half Half, opt FaultOptions, progress func(string)) (*FaultsReport, error) {
	tours, err := brokenTours(ctx, half, opt)
	if err != nil {
		return nil, err
	}
	r := &FaultsReport{Kinds: map[catalog.FindingKind]*KindTally{}}
	for i, b := range tours {
		progress(fmt.Sprintf("%s: broken tour %d of %d, %s", half, i+1, opt.Tours, b.kind))
		if err := b.run(ctx, r); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// brokenTours returns the tours of broken nights. It renders nothing yet.
func brokenTours(ctx context.Context, half Half, opt FaultOptions) ([]*brokenTour, error) {
	songs, err := songsOf(half)
	if err != nil {
		return nil, err
	}
	speech, err := phrases(ctx, half)
	if err != nil {
		return nil, err
	}
	drums, err := strokes(ctx, half)
	if err != nil {
		return nil, err
	}
	render, err := newRenderer(half)
	if err != nil {
		return nil, err
	}
	var tours []*brokenTour
	for i := range opt.Tours {
		b := &brokenTour{half: half, seed: uint64(i + 1), kind: Timbre(i % int(timbres)), kinds: kindsPlanted, songs: songs, speech: speech, drums: drums, renderer: render}
		if len(opt.Kinds) > 0 {
			b.kinds, b.name, b.seed = opt.Kinds, fmt.Sprint(opt.Kinds), b.seed+1000 // different tours from those of all kinds
		}
		tours = append(tours, b)
	}
	return tours, nil
}

type brokenTour struct {
	half     Half
	seed     uint64
	kind     Timbre
	kinds    []catalog.FindingKind // planted in turn
	name     string                // of these kinds, "" for all
	songs    []song
	speech   []audio
	drums    [cymbals + 1][]audio
	renderer renderer
}

func (b *brokenTour) run(ctx context.Context, r *FaultsReport) error {
	store, truth, done, err := b.kept(ctx)
	if err != nil {
		return err
	}
	defer done()
	for i := range truth {
		near, err := evidence.FindNeighbours(ctx, store, nightDate(i))
		if err != nil {
			return err
		}
		notJudged, err := findings.Judge(ctx, store, near, evidence.Options{})
		if err != nil {
			return err
		}
		if len(notJudged) > 0 {
			return fmt.Errorf("night %d: %s", i+1, strings.Join(notJudged[0].Report(), "\n"))
		}
		found, err := store.Findings(ctx, catalog.FindingFilter{Show: nightDate(i)})
		if err != nil {
			return err
		}
		r.count(b.night(i), truth[i], found)
	}
	return nil
}

// night names a night of the tour by its index.
func (b *brokenTour) night(i int) string {
	return fmt.Sprintf("%s tour %d (%s) night %d", b.half, b.seed, b.kind, i+1)
}

// brokenTruth is the truth about a night that was made.
type brokenTruth struct {
	Inputs  []string // as they stand on stage
	Planted []Planted
	Over    []int // tracks that clipped without a planted fault: finding them is neither right nor wrong
	Seconds float64
}

// brokenEdit is part of the name under which a made tour is cached. Raise it
// when the tours, or what a scan keeps of them, change.
const brokenEdit = 6

// kept returns the tour's catalog and truth, from the cache or newly made.
// Making takes a minute, judging a second.
func (b *brokenTour) kept(ctx context.Context) (store *catalog.Store, truth []brokenTruth, done func(), err error) {
	name := filepath.Join(b.renderer.cache, fmt.Sprintf("broken-%d-%d-%d-%d%s", brokenEdit, b.half, b.kind, b.seed, b.name))
	if f, err := os.Open(name + ".gob"); err == nil {
		defer f.Close()
		if err := gob.NewDecoder(f).Decode(&truth); err != nil {
			return nil, nil, nil, err
		}
		store, err := catalog.Open(ctx, name+".db")
		return store, truth, func() { store.Close() }, err
	}
	if err := os.MkdirAll(b.renderer.cache, 0o777); err != nil {
		return nil, nil, nil, err
	}
	// Made under a temporary name, so that two evaluations do not disturb each
	// other; the last one to finish gets the final name.
	dir, err := os.MkdirTemp(b.renderer.cache, "making-")
	if err != nil {
		return nil, nil, nil, err
	}
	defer os.RemoveAll(dir)
	if store, err = catalog.Open(ctx, filepath.Join(dir, "tour.db")); err != nil {
		return nil, nil, nil, err
	}
	truth, err = b.make(ctx, store)
	if err := errors.Join(err, store.Close()); err != nil {
		return nil, nil, nil, err
	}
	f, err := os.Create(filepath.Join(dir, "tour.gob"))
	if err != nil {
		return nil, nil, nil, err
	}
	if err := errors.Join(gob.NewEncoder(f).Encode(truth), f.Close(),
		os.Rename(filepath.Join(dir, "tour.db"), name+".db"), os.Rename(f.Name(), name+".gob")); err != nil {
		return nil, nil, nil, err
	}
	store, err = catalog.Open(ctx, name+".db")
	return store, truth, func() { store.Close() }, err
}

// make makes the tour's nights and scans them.
func (b *brokenTour) make(ctx context.Context, store *catalog.Store) ([]brokenTruth, error) {
	rng := rand.New(rand.NewPCG(b.seed, 3000+uint64(b.half)))
	setup := boards(rng)
	// Four songs, each in two takes; three songs a night.
	var titles []string
	var takes [][2]audioStems
	for _, i := range rng.Perm(len(b.songs))[:4] {
		s := b.songs[i]
		var two [2]audioStems
		base := excerpt(rng, s)
		for k := range two {
			t := base
			t.tempo, t.seed = between(rng, 0.94, 1.06), rng.Uint64()
			var err error
			if two[k], err = b.renderer.sounding(ctx, perform(s, t), b.kind, b.drums, fmt.Sprint(s.title, s.fingerprint(), t)); err != nil {
				return nil, err
			}
		}
		titles, takes = append(titles, s.title), append(takes, two)
	}
	var truth []brokenTruth
	had := map[int]bool{}
	turn := int(b.seed*5) % len(b.kinds)
	for i := range faultNights {
		var names []string
		var stems []audioStems
		for _, k := range rng.Perm(len(titles))[:3] {
			names, stems = append(names, titles[k]), append(stems, takes[k][rng.IntN(2)])
		}
		n := compose(rng, names, stems, b.speech)
		if i == 0 {
			n.settle(setup)
		} else {
			var kinds []catalog.FindingKind
			for range 5 {
				kinds = append(kinds, b.kinds[turn%len(b.kinds)])
				turn++
			}
			n.plant(rng, setup, kinds, had)
		}
		if err := b.scan(ctx, store, n, setup, i); err != nil {
			return nil, err
		}
		truth = append(truth, n.truth(setup))
	}
	return truth, nil
}

func (n *brokenNight) truth(setup []pickup) brokenTruth {
	t := brokenTruth{Over: n.over, Seconds: float64(n.frames) / audioRate}
	for i, p := range setup {
		t.Inputs = append(t.Inputs, p.name)
		if h := n.harms[i]; h != nil && h.planted.Kind != "" {
			t.Planted = append(t.Planted, h.planted)
		}
	}
	return t
}

// scan writes a night, scans it, places its songs where they were played, and
// deletes the audio.
func (b *brokenTour) scan(ctx context.Context, store *catalog.Store, n *brokenNight, setup []pickup, i int) error {
	dir, err := os.MkdirTemp(memory(), "nightreel-evaluate-night-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	folder := filepath.Join(dir, string(nightDate(i)))
	if err := n.write(ctx, setup, folder, n.trackNames(setup)); err != nil {
		return err
	}
	// The input list has the lines that were to be recorded.
	var inputs []catalog.Input
	names := n.trackNames(setup)
	for k := range setup {
		inputs = append(inputs, catalog.Input{Track: k + 1, Channel: names[k][3:]})
	}
	if err := store.SaveInputList(ctx, catalog.InputList{From: nightDate(i), Only: true, Inputs: inputs}); err != nil {
		return err
	}
	result, err := scan.Run(ctx, store, []string{dir}, scan.Options{Workers: 2}, nil)
	if err != nil {
		return err
	}
	if len(result.Problems) > 0 {
		return fmt.Errorf("night %d: %v", i+1, result.Problems)
	}
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: nightDate(i)})
	if err != nil {
		return err
	}
	if len(recordings) != 1 {
		return fmt.Errorf("night %d: %d recordings", i+1, len(recordings))
	}
	for _, p := range n.played {
		if _, err := store.SaveTake(ctx, catalog.Take{Show: nightDate(i), Song: p.Song, RecordingID: recordings[0].ID,
			StartFrame: int64(p.StartS * audioRate), EndFrame: int64(p.EndS * audioRate), FoundBy: catalog.ByPerson, Confidence: 1}); err != nil {
			return err
		}
	}
	return nil
}

// memory returns a folder in memory, if the system has one.
func memory() string {
	if _, err := os.Stat("/dev/shm"); err == nil {
		return "/dev/shm"
	}
	return ""
}

func (r *FaultsReport) kind(k catalog.FindingKind) *KindTally {
	if r.Kinds[k] == nil {
		r.Kinds[k] = &KindTally{}
	}
	return r.Kinds[k]
}

// is reports whether a finding is about a planted fault.
func (p Planted) is(f catalog.Finding) bool {
	if f.Kind != p.Kind {
		return false
	}
	with := f.Partner()
	if f.Track != p.Track && (p.With == 0 || f.Track != p.With) {
		return false
	}
	if p.With != 0 && with != p.Track && with != p.With {
		return false
	}
	if p.Kind == catalog.GainChange && (f.Evidence["change_db"] > 0) != (p.Size > 0) {
		return false
	}
	const slack = 12 // seconds: a step of gain is placed within a cell or two
	return f.StartS() <= p.EndS+slack && f.EndS() >= p.StartS-slack
}

func (r *FaultsReport) count(night string, t brokenTruth, findings []catalog.Finding) {
	r.Nights++
	r.Tracks += len(t.Inputs)
	r.Hours += float64(len(t.Inputs)) * t.Seconds / 3600
	used := make([]bool, len(findings))
	for _, p := range t.Planted {
		k := r.kind(p.Kind)
		k.Found.Of++
		found := false
		for j, f := range findings {
			if p.is(f) {
				used[j], found = true, true
			}
		}
		if found {
			k.Found.Hits++
		} else {
			r.Why = append(r.Why, fmt.Sprintf("%s: missed %s on %d %s (%d %.1f–%.1f s, size %.1f)", night, p.Kind, p.Track, t.Inputs[p.Track-1], p.With, p.StartS, p.EndS, p.Size))
		}
	}
	for j, f := range findings {
		if f.Kind == catalog.Clipped && slices.Contains(t.Over, f.Track) {
			continue
		}
		k := r.kind(f.Kind)
		k.True.Of++
		if used[j] {
			k.True.Hits++
			continue
		}
		r.False++
		r.Why = append(r.Why, fmt.Sprintf("%s: false %s (%s) on %d %s %.1f–%.1f s %v; planted there: %s", night, f.Kind, f.Severity, f.Track, f.Channel, f.StartS(), f.EndS(), short(f.Evidence), t.on(f.Track)))
	}
}

func (t brokenTruth) on(track int) string {
	for _, p := range t.Planted {
		if p.Track == track || p.With == track {
			return string(p.Kind)
		}
	}
	return "nothing"
}

func short(e catalog.Evidence) string {
	var all []string
	for k, v := range e {
		all = append(all, fmt.Sprintf("%s %.4g", k, v))
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

func (r *FaultsReport) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d nights, %d tracks, %.1f track hours\n", r.Nights, r.Tracks, r.Hours)
	var planted, findings Share
	for _, kind := range kindsPlanted {
		k := r.kind(kind)
		fmt.Fprintf(&b, "  %-14s found %-38v true %v\n", kind, k.Found, k.True)
		planted.Hits, planted.Of = planted.Hits+k.Found.Hits, planted.Of+k.Found.Of
	}
	for _, k := range r.Kinds {
		findings.Hits, findings.Of = findings.Hits+k.True.Hits, findings.Of+k.True.Of
	}
	fmt.Fprintf(&b, "  %-14s found %-38v true %v\n", "all", planted, findings)
	fmt.Fprintf(&b, "  %d false findings: %.2f a night of 64 tracks, %.2f if they came with every hour alike (64 tracks of 2.5 h)\n",
		r.False, float64(r.False)/float64(r.Tracks)*64, float64(r.False)/r.Hours*160)
	return b.String()
}
