package catalog

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"
)

// line formats inputs for a test's table: "1 Kick, 2 Snare".
func line(inputs []Input) string {
	var parts []string
	for _, in := range inputs {
		parts = append(parts, fmt.Sprint(in.Track, " ", in.Channel))
	}
	return strings.Join(parts, ", ")
}

// inputs parses the format of line.
func inputs(t *testing.T, text string) (all []Input) {
	t.Helper()
	for _, p := range strings.Split(text, ", ") {
		var in Input
		number, channel, _ := strings.Cut(p, " ")
		if _, err := fmt.Sscan(number, &in.Track); err != nil {
			t.Fatal(err)
		}
		in.Channel = channel
		all = append(all, in)
	}
	return all
}

func TestInputListInForce(t *testing.T) {
	type given struct {
		from ShowKey
		only bool
		rig  string
		text string
	}
	base := given{"2031-05-02", false, "", "1 Kick, 2 Snare, 3 Bass"}
	for _, c := range []struct {
		name  string
		lists []given
		date  ShowKey
		rig   string
		want  string
	}{
		{"none", nil, "2031-05-02", "main", ""},
		{"before the first", []given{base}, "2031-05-01", "main", ""},
		{"from its day", []given{base}, "2031-05-02", "main", "1 Kick, 2 Snare, 3 Bass"},
		{"and after", []given{base}, "2032-01-01", "backup", "1 Kick, 2 Snare, 3 Bass"},
		{"a later one replaces it", []given{base, {"2031-05-04", false, "", "1 Bass"}}, "2031-05-04", "main", "1 Bass"},
		{"not before its day", []given{base, {"2031-05-04", false, "", "1 Bass"}}, "2031-05-03", "main", "1 Kick, 2 Snare, 3 Bass"},
		{"stored in another order", []given{{"2031-05-04", false, "", "1 Bass"}, base}, "2031-05-05", "main", "1 Bass"},
		{"a rig's own", []given{base, {"2031-05-02", false, "backup", "1 Hat"}}, "2031-05-03", "backup", "1 Hat"},
		{"is not for the other rig", []given{base, {"2031-05-02", false, "backup", "1 Hat"}}, "2031-05-03", "main", "1 Kick, 2 Snare, 3 Bass"},
		{"a later one for all ends a rig's own", []given{{"2031-05-02", false, "main", "1 Hat"}, {"2031-05-04", false, "", "1 Bass"}}, "2031-05-04", "main", "1 Bass"},
		{"one night only: laid over by track", []given{base, {"2031-05-03", true, "", "3 Guest"}}, "2031-05-03", "main", "1 Kick, 2 Snare, 3 Guest"},
		{"by channel, whatever its case", []given{base, {"2031-05-03", true, "", "9 KICK"}}, "2031-05-03", "main", "2 Snare, 3 Bass, 9 KICK"},
		{"gone the night after", []given{base, {"2031-05-03", true, "", "3 Guest"}}, "2031-05-04", "main", "1 Kick, 2 Snare, 3 Bass"},
		{"over nothing", []given{{"2031-05-03", true, "", "3 Guest"}}, "2031-05-03", "main", "3 Guest"},
		{"of another rig", []given{base, {"2031-05-03", true, "backup", "3 Guest"}}, "2031-05-03", "main", "1 Kick, 2 Snare, 3 Bass"},
		{"for all and for the rig: both, the rig's on top", []given{base, {"2031-05-03", true, "", "2 Tom, 3 Guest"}, {"2031-05-03", true, "main", "3 Talk"}}, "2031-05-03", "main", "1 Kick, 2 Tom, 3 Talk"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := testStore(t)
			for _, g := range c.lists {
				ok(t, s.SaveInputList(t.Context(), InputList{From: g.from, Only: g.only, Rig: g.rig, Inputs: inputs(t, g.text)}))
			}
			lists := must(s.InputLists(t.Context()))(t)
			if got := line(InForce(lists, c.date, c.rig)); got != c.want {
				t.Errorf("got  %s\nwant %s", got, c.want)
			}
		})
	}
}

func TestSaveInputList(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	list := InputList{From: "2031-05-02", Inputs: []Input{{Track: 2, Channel: "Bass", GainDB: dB(-3.5), Group: "g", Notes: "n"}, {Track: 1, Channel: "Kick"}}}
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: inputs(t, "7 Old")}))
	ok(t, s.SaveInputList(ctx, list)) // replaces itself
	got := must(s.InputLists(ctx))(t)
	want := list
	want.Inputs = []Input{list.Inputs[1], list.Inputs[0]}
	if !reflect.DeepEqual(got, []InputList{want}) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	for name, bad := range map[string]InputList{
		"no date":          {Inputs: list.Inputs},
		"a malformed date": {From: "2031-5-2", Inputs: list.Inputs},
		"track 0":          {From: "2031-05-02", Inputs: []Input{{Track: 0, Channel: "Kick"}}},
		"no channel":       {From: "2031-05-02", Inputs: []Input{{Track: 1}}},
		"one track twice":  {From: "2031-05-02", Inputs: inputs(t, "1 Kick, 1 Snare")},
	} {
		if err := s.SaveInputList(ctx, bad); err == nil {
			t.Errorf("%s: stored", name)
		}
	}
	if now := must(s.InputLists(ctx))(t); !reflect.DeepEqual(now, got) {
		t.Errorf("refused lists left %+v", now)
	}
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02"})) // deletes the list
	if now := must(s.InputLists(ctx))(t); len(now) != 0 {
		t.Errorf("left: %+v", now)
	}
}

// A channel is for the tour: it is followed from track to track.
func TestChannelsAcrossRepatching(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	for _, d := range []Date{"2031-05-02", "2031-05-03", "2031-05-04"} {
		r := addRecording(t, s, d, MainRig, 3)
		must(s.SaveRecording(ctx, r, nil, []Track{{Number: 1, Name: "TRK01", Frames: 1}, {Number: 2, Frames: 1}, {Number: 3, Name: "Kick in", Frames: 1}}, nil))(t)
		addRecording(t, s, d, "backup", 2)
	}
	find := func(channel string) (where []string) {
		t.Helper()
		for _, tr := range must(s.Tracks(ctx, TrackFilter{Channel: channel}))(t) {
			where = append(where, fmt.Sprintf("%s %s %d %s", tr.Show[8:], tr.Rig, tr.Number, tr.Channel))
		}
		return where
	}
	// Without any list the track's own name counts, else its number.
	if got := find("Track 2"); len(got) != 6 {
		t.Errorf("without a list: %v", got)
	}
	if got := find("TRK01"); len(got) != 3 {
		t.Errorf("without a list: %v", got)
	}
	// A list imported later counts for nights scanned before.
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Inputs: []Input{{Track: 1, Channel: "Kick In", GainDB: dB(20)}, {Track: 3, Channel: "Bass"}}}))
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-03", Only: true, Inputs: []Input{{Track: 2, Channel: "Kick In", GainDB: dB(26)}}}))
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-04", Rig: "backup", Inputs: []Input{{Track: 1, Channel: "Bass"}}}))
	want := []string{"02 main 1 Kick In", "02 backup 1 Kick In", "03 main 2 Kick In", "03 backup 2 Kick In", "04 main 1 Kick In"}
	if got := find("kick-in"); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	for _, tr := range must(s.Tracks(ctx, TrackFilter{Channel: "Kick In", Show: "2031-05-03", Rig: MainRig}))(t) {
		if tr.Input.GainDB == nil || *tr.Input.GainDB != 26 {
			t.Errorf("that night's gain: %+v", tr.Input)
		}
	}
	// A track that lost its channel is known by its own name again.
	if got := find("TRK01"); !reflect.DeepEqual(got, []string{"03 main 1 TRK01"}) {
		t.Errorf("got %v", got)
	}
}

// A recorder in the lobby counts its own inputs: its tracks keep their names. A
// rig that records part of the list does not, nor does one that has its own list.
func TestSmallRecordersNumberApart(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	list := InputList{From: "2031-05-02", Inputs: inputs(t, "1 Kick, 2 Snare, 3 Bass, 4 Vocal, 5 Audience, 6 Keys")}
	ok(t, s.SaveInputList(ctx, list))
	addRecording(t, s, "2031-05-02", MainRig, 6)
	for rig, names := range map[string][]string{"lobby": {"Audience", "Room"}, "mix": {"", ""}, "spare": {"Kick", "sn", "bass"}, "wireless": {"RF 1", ""}} {
		r := addRecording(t, s, "2031-05-02", rig, len(names))
		var tracks []Track
		for i, name := range names {
			tracks = append(tracks, Track{Number: i + 1, Name: name, Frames: 1})
		}
		must(s.SaveRecording(ctx, r, nil, tracks, nil))(t)
	}
	ok(t, s.SaveInputList(ctx, InputList{From: "2031-05-02", Rig: "wireless", Inputs: inputs(t, "1 Voice 1, 2 Voice 2")}))
	for rig, want := range map[string]string{
		"lobby":    "Audience (5) apart, Room (0) apart",
		"mix":      "Track 1 (0) apart, Track 2 (0) apart",
		"spare":    "Kick (1), Snare (2), Bass (3)",
		"wireless": "Voice 1 (1), Voice 2 (2)",
	} {
		var got []string
		for _, tr := range must(s.Tracks(ctx, TrackFilter{Rig: rig}))(t) {
			is := fmt.Sprintf("%s (%d)", tr.Channel, tr.Input.Track)
			if tr.Apart {
				is += " apart"
			}
			got = append(got, is)
		}
		if strings.Join(got, ", ") != want {
			t.Errorf("%s: %s, want %s", rig, strings.Join(got, ", "), want)
		}
	}
}

// A list that begins with one of a date's shows holds for that show and later
// ones, not for an earlier one of the date; a list that begins with a date holds
// for all its shows.
func TestListsOfSeveralShowsADate(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	for i, name := range []string{"soundcheck", "matinee", "evening"} {
		sh := must(s.EnsureShow(ctx, Show{Date: "2031-08-01", Name: name}))(t)
		at := time.Date(2031, 8, 1, 14+2*i, 0, 0, 0, time.UTC)
		must(s.SaveRecording(ctx, Recording{ShowID: sh.ID, Rig: MainRig, SampleRate: 48000, BitDepth: 24, SampleBytes: 3, Encoding: "pcm", Frames: 480, StartsAt: &at}, nil, nil, nil))(t)
		must(s.EnsureShow(ctx, Show{Date: "2031-08-01", Name: name}))(t) // settles the order again
	}
	must(s.EnsureShow(ctx, Show{Date: "2031-08-02"}))(t)
	save := func(from ShowKey, only bool, channel string) {
		t.Helper()
		ok(t, s.SaveInputList(ctx, InputList{From: from, Only: only, Inputs: []Input{{Track: 1, Channel: channel}}}))
	}
	save("2031-08-01", false, "date")
	save("2031-08-01 evening", false, "evening")
	save("2031-08-01 Matinee", true, "only matinee")
	lists := must(s.InputLists(ctx))(t)
	for show, want := range map[ShowKey]string{
		"2031-07-31": "", "2031-08-01 soundcheck": "date", "2031-08-01 matinee": "only matinee", "2031-08-01 evening": "evening", "2031-08-02": "evening",
	} {
		got := ""
		for _, in := range InForce(lists, show, MainRig) {
			got = in.Channel
		}
		if got != want {
			t.Errorf("%s: %q, want %q", show, got, want)
		}
	}
	var ambiguous *AmbiguousShowError
	if err := s.SaveInputList(ctx, InputList{From: "2031-08-01", Only: true, Inputs: []Input{{Track: 1, Channel: "x"}}}); !errors.As(err, &ambiguous) {
		t.Errorf("for one show of a date that has three: %v", err)
	}
	wantNotFound(t, s.SaveInputList(ctx, InputList{From: "2031-08-01 brunch", Inputs: []Input{{Track: 1, Channel: "x"}}}), "show")
}
