package catalog

import (
	"fmt"
	"math"
	"reflect"
	"testing"
)

// brief formats takes for a test's table: "date song nth start".
func brief(takes []Take) []string {
	all := []string{}
	for _, t := range takes {
		all = append(all, fmt.Sprintf("%s %s %d @%g", t.Show[8:], t.Song, t.Nth, t.StartS()))
	}
	return all
}

// Nth and order count on the show's time line, whatever recording a take is
// placed on.
func TestTakesAcrossRecordings(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	first := addRecording(t, s, "2031-05-02", MainRig, 1)
	second := addRecording(t, s, "2031-05-02", MainRig, 1) // after the interval
	second.OffsetS, second.SampleRate = 3600, 96000
	must(s.SaveRecording(ctx, second, nil, nil, nil))(t)
	next := addRecording(t, s, "2031-05-03", MainRig, 1)
	put := func(song string, r Recording, startS int64) Take {
		t.Helper()
		rate := int64(r.SampleRate)
		return must(s.SaveTake(ctx, Take{Show: r.Show, Song: song, RecordingID: r.ID, StartFrame: startS * rate, EndFrame: (startS + 5) * rate, FoundBy: ByMusic, Confidence: 0.5}))(t)
	}
	put("Low Tide", next, 3)
	last := put("Low Tide", second, 1) // at 3601 s
	if last.Nth != 1 || last.SampleRate != 96000 || last.StartS() != 1 {
		t.Errorf("stored alone: %+v", last)
	}
	put("Low Tide", first, 20)
	put("Third Rail", first, 10)
	put("low tide!", first, 2)
	want := []string{"02 Low Tide 1 @2", "02 Third Rail 1 @10", "02 Low Tide 2 @20", "02 Low Tide 3 @1", "03 Low Tide 1 @3"}
	if got := brief(must(s.Takes(ctx, TakeFilter{}))(t)); !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
	// A filter does not change the counts.
	if got := brief(must(s.Takes(ctx, TakeFilter{ID: last.ID}))(t)); !reflect.DeepEqual(got, want[3:4]) {
		t.Errorf("by id: %v", got)
	}
	if got := brief(must(s.Takes(ctx, TakeFilter{Show: "2031-05-03", Song: "LOW TIDE"}))(t)); !reflect.DeepEqual(got, want[4:]) {
		t.Errorf("by show and song: %v", got)
	}
	_, err := s.Takes(ctx, TakeFilter{Song: "Never Written"})
	wantNotFound(t, err, "song")
}

func TestSaveTakeRefuses(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	other := addRecording(t, s, "2031-05-03", MainRig, 1)
	good := Take{Show: "2031-05-02", Song: "Low Tide", RecordingID: r.ID, StartFrame: 1, EndFrame: 2, FoundBy: ByPerson, Confidence: 1}
	for name, spoil := range map[string]func(*Take){
		"end at start":               func(t *Take) { t.EndFrame = 1 },
		"before the recording":       func(t *Take) { t.StartFrame = -1 },
		"no title":                   func(t *Take) { t.Song = " " },
		"a show that is not there":   func(t *Take) { t.Show = "2031-01-01" },
		"another show's recording":   func(t *Take) { t.RecordingID = other.ID },
		"no recording":               func(t *Take) { t.RecordingID = 0 },
		"found by an unknown source": func(t *Take) { t.FoundBy = "" },
		"a confidence above 1":       func(t *Take) { t.Confidence = 1.5 },
		"no confidence":              func(t *Take) { t.Confidence = math.NaN() },
		"a take that is not there":   func(t *Take) { t.ID = 99 },
		"a take that was not there":  func(t *Take) { t.ID = -1 },
	} {
		bad := good
		spoil(&bad)
		if got, err := s.SaveTake(ctx, bad); err == nil {
			t.Errorf("%s: stored as %+v", name, got)
		}
	}
	if songs := must(s.Songs(ctx))(t); len(songs) != 0 {
		t.Errorf("refused takes left songs: %+v", songs)
	}
	must(s.SaveTake(ctx, good))(t)
}

func TestEditTakesIsWholeOrNot(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	span := func(song string, from, to int64) Take {
		return Take{Show: r.Show, Song: song, RecordingID: r.ID, StartFrame: from * 48000, EndFrame: to * 48000, FoundBy: ByPerson, Confidence: 1}
	}
	whole := must(s.SaveTake(ctx, span("Low Tide", 0, 20)))(t)
	before := must(s.Takes(ctx, TakeFilter{}))(t)

	// If the second half of a split is impossible, the take stays whole.
	if err := s.EditTakes(ctx, []TakeID{whole.ID}, []Take{span("Low Tide", 0, 10), span("New Song", 20, 10)}); err == nil {
		t.Fatal("an impossible take was stored")
	}
	if got := must(s.Takes(ctx, TakeFilter{}))(t); !reflect.DeepEqual(got, before) {
		t.Errorf("half done: %+v", got)
	}
	if songs := must(s.Songs(ctx))(t); len(songs) != 1 {
		t.Errorf("half done: %+v", songs)
	}

	// A split keeps the first half's id.
	half := whole
	half.EndFrame = 10 * 48000
	ok(t, s.EditTakes(ctx, nil, []Take{half, span("New Song", 10, 20)}))
	got := must(s.Takes(ctx, TakeFilter{}))(t)
	if len(got) != 2 || got[0].ID != whole.ID || got[1].Song != "New Song" {
		t.Errorf("got %+v", got)
	}
	// An id is never used twice: a session may refer to it.
	gone := got[1].ID
	ok(t, s.EditTakes(ctx, []TakeID{gone, gone}, nil)) // already deleted: no error
	if again := must(s.SaveTake(ctx, span("New Song", 10, 20)))(t); again.ID <= gone {
		t.Errorf("id %d was used again", again.ID)
	}
}

func TestDismissedTakes(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	late := addRecording(t, s, "2031-05-02", "backup", 1)
	setOffset(t, s, late, 2.5)
	put := func(r Recording, song string, by FoundBy, from, to int64) Take {
		t.Helper()
		return must(s.SaveTake(ctx, Take{Show: r.Show, Song: song, RecordingID: r.ID, StartFrame: from * 48000, EndFrame: to * 48000, FoundBy: by, Confidence: 0.5}))(t)
	}
	list := func() []Dismissal {
		t.Helper()
		all := must(s.Dismissed(ctx, "2031-05-02"))(t)
		for i := range all {
			all[i].Subject = ""
		}
		return all
	}
	low, third := put(r, "Low Tide", ByMusic, 10, 20), put(late, "Third Rail", ByMusic, 30, 40)

	wantNotFound(t, s.DismissTake(ctx, 99), "take")
	ok(t, s.DismissTake(ctx, third.ID))
	ok(t, s.DismissTake(ctx, low.ID))
	wantNotFound(t, s.DismissTake(ctx, low.ID), "take")
	want := []Dismissal{{"2031-05-02", low.SongID, "Low Tide", "", 10, 20}, {"2031-05-02", third.SongID, "Third Rail", "", 32.5, 42.5}}
	if got := list(); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if takes := must(s.Takes(ctx, TakeFilter{}))(t); len(takes) != 0 {
		t.Errorf("takes left: %+v", takes)
	}
	if got := must(s.Dismissed(ctx, "2031-05-03"))(t); len(got) != 0 {
		t.Errorf("on another night: %+v", got)
	}

	// Takes that a finder or a person places elsewhere change nothing.
	put(r, "Low Tide", ByMusic, 10, 20)
	put(r, "Low Tide", ByPerson, 20, 30)
	put(r, "Other Song", ByPerson, 10, 20)
	if got := list(); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	// The dismissal survives the recording, and follows the song into another
	// one.
	ok(t, s.DeleteRecording(ctx, r.ID))
	r = addRecording(t, s, "2031-05-02", MainRig, 1)
	must(s.AddAlias(ctx, third.SongID, "Low Tide", true))(t)
	want[0].SongID, want[0].Song = third.SongID, "Third Rail"
	if got := list(); !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
	// It ends when a person places the song there again.
	put(r, "Low Tide", ByPerson, 15, 16)
	if got := list(); !reflect.DeepEqual(got, want[1:]) {
		t.Errorf("got %+v, want %+v", got, want[1:])
	}
}

// Takes that a finder computed from older takes are not stored once a person has
// changed them.
func TestEditTakesFrom(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	r := addRecording(t, s, "2031-05-02", MainRig, 1)
	take := Take{Show: r.Show, Song: "Low Tide", RecordingID: r.ID, StartFrame: 0, EndFrame: 48000, FoundBy: ByMusic, Confidence: 0.5}
	take = must(s.SaveTake(ctx, take))(t)
	seen := must(s.Takes(ctx, TakeFilter{Show: r.Show}))(t)
	person := take
	person.Song, person.FoundBy, person.Confidence = "Third Rail", ByPerson, 1
	person = must(s.SaveTake(ctx, person))(t)

	moved := take
	moved.EndFrame = 96000
	if done := must(s.EditTakesFrom(ctx, r.Show, seen, nil, []Take{moved}))(t); done {
		t.Error("a person's correction was overwritten")
	}
	if now := must(s.Takes(ctx, TakeFilter{}))(t); !reflect.DeepEqual(now, []Take{person}) {
		t.Errorf("left %+v", now)
	}
	seen = must(s.Takes(ctx, TakeFilter{Show: r.Show}))(t)
	if done := must(s.EditTakesFrom(ctx, r.Show, seen, []TakeID{person.ID}, nil))(t); !done {
		t.Error("the takes are unchanged, but were not stored")
	}
	if done := must(s.EditTakesFrom(ctx, r.Show, nil, nil, nil))(t); !done {
		t.Error("an empty list equals the missing takes")
	}
}
