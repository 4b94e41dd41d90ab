package evaluate

import (
	"math"
	"testing"

	"nightreel/catalog"
)

// R. G. Newcombe, Statistics in Medicine 17 (1998), Table I, method 3 (score
// without continuity correction); the values from memory.
func TestWilson(t *testing.T) {
	for _, row := range []struct {
		share     Share
		low, high float64
	}{
		{Share{81, 263}, 0.2553, 0.3662}, {Share{15, 148}, 0.0624, 0.1605},
		{Share{0, 20}, 0, 0.1611}, {Share{1, 29}, 0.0061, 0.1718},
	} {
		if low, high := row.share.Wilson(); math.Abs(low-row.low) > 6e-5 || math.Abs(high-row.high) > 6e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", row.share.Hits, row.share.Of, low, high, row.low, row.high)
		}
	}
}

// A finding counts as the planted fault only on its track, in its time, of its
// kind, with its partner and in its direction.
func TestCountFaults(t *testing.T) {
	finding := func(kind catalog.FindingKind, track int, startS, endS float64, e catalog.Evidence) catalog.Finding {
		return catalog.Finding{Kind: kind, Track: track, SampleRate: 48000, StartFrame: int64(48000 * startS), EndFrame: int64(48000 * endS), Evidence: e}
	}
	swapped := func(track, with int) catalog.Finding {
		f := finding(catalog.Swapped, track, 0, 180, nil)
		f.Tracks = []int{track, with}
		return f
	}
	pair := Planted{Kind: catalog.Swapped, Track: 3, With: 4, EndS: 180}
	gain := Planted{Kind: catalog.GainChange, Track: 1, StartS: 90, EndS: 90, Size: -8}
	drop := Planted{Kind: catalog.Dropout, Track: 2, StartS: 60, EndS: 60.02}
	for _, row := range []struct {
		what    string
		planted Planted
		finding catalog.Finding
		found   bool
	}{
		{"the fault", drop, finding(catalog.Dropout, 2, 60, 60.02, nil), true},
		{"a minute later", drop, finding(catalog.Dropout, 2, 120, 120.02, nil), false},
		{"another track", drop, finding(catalog.Dropout, 1, 60, 60.02, nil), false},
		{"another kind", drop, finding(catalog.Crackle, 2, 60, 60.02, nil), false},
		{"the pair", pair, swapped(3, 4), true},
		{"the pair from its other side", pair, swapped(4, 3), true},
		{"half of the pair", pair, swapped(3, 5), false},
		{"down", gain, finding(catalog.GainChange, 1, 95, 95, catalog.Evidence{"change_db": -7}), true},
		{"up", gain, finding(catalog.GainChange, 1, 95, 95, catalog.Evidence{"change_db": 7}), false},
	} {
		r := &FaultsReport{Kinds: map[catalog.FindingKind]*KindTally{}}
		r.count("night", brokenTruth{Inputs: []string{"a", "b", "c", "d", "e"}, Planted: []Planted{row.planted}, Seconds: 180}, []catalog.Finding{row.finding})
		hits, wrong := 0, 1
		if row.found {
			hits, wrong = 1, 0
		}
		if k := r.kind(row.planted.Kind); k.Found != (Share{hits, 1}) || r.False != wrong {
			t.Errorf("%s: found %v, %d false; want %d and %d", row.what, k.Found, r.False, hits, wrong)
		}
		goals := r.Goals()
		if met := goals[0].Met && goals[1].Met && goals[2].Met; met != row.found {
			t.Errorf("%s: goals %v", row.what, goals)
		}
	}
}

// Two findings on one planted fault are two true findings and one fault found. A
// track that clipped without a planted fault may be reported or not.
func TestCountFindings(t *testing.T) {
	r := &FaultsReport{Kinds: map[catalog.FindingKind]*KindTally{}}
	clip := catalog.Finding{Kind: catalog.Clipped, Track: 1, SampleRate: 48000, EndFrame: 48000}
	truth := brokenTruth{Inputs: []string{"a", "b", "c"}, Planted: []Planted{{Kind: catalog.Clipped, Track: 1, EndS: 9}}, Over: []int{2}}
	other, third := clip, clip
	other.Track, third.Track = 2, 3
	r.count("night", truth, []catalog.Finding{clip, clip, other, third})
	if k := r.kind(catalog.Clipped); k.Found != (Share{1, 1}) || k.True != (Share{2, 3}) || r.False != 1 {
		t.Errorf("found %v, true %v, %d false", k.Found, k.True, r.False)
	}
}

// A take is right if it has the song's title and more than half of it overlaps.
func TestCountSongs(t *testing.T) {
	take := func(song string, startS, endS, confidence float64) catalog.Take {
		return catalog.Take{Song: song, SampleRate: 48000, StartFrame: int64(48000 * startS), EndFrame: int64(48000 * endS), FoundBy: catalog.ByMusic, Confidence: confidence}
	}
	played := []Played{{Song: "Marrow", StartS: 10, EndS: 110}, {Song: "Tin", StartS: 150, EndS: 250}}
	known := map[string]bool{"Marrow": true, "Tin": true}
	var c Tally
	c.count("2031-05-02", played, []catalog.Take{take("Marrow", 11, 108, 0.95), take("Marrow", 150, 250, 0.92), take("Song 3", 300, 400, 0.3)}, known)
	if c.Titles != (Share{1, 2}) || c.Invented != 2 || c.Sure != (Share{1, 2}) || c.Starts[0] != 1 || c.Ends[0] != -2 {
		t.Errorf("%+v", c)
	}
	var half Tally
	half.count("2031-05-02", played[:1], []catalog.Take{take("Marrow", 80, 180, 0.5)}, known)
	if half.Titles != (Share{0, 1}) || half.Invented != 1 {
		t.Errorf("%+v", half)
	}
}
