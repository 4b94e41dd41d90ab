package catalog

import (
	"math"
	"reflect"
	"testing"
)

func TestSessionsRoundTrip(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	_, err := s.Session(ctx, 0)
	wantNotFound(t, err, "playback session")
	give := Session{Desk: "foh",
		Items:    []SessionItem{{Take: 7, Show: "2031-05-02", Song: "Low Tide", Recording: 3, Rig: MainRig, SampleRate: 44100, StartFrame: 1, EndFrame: math.MaxInt64, StartS: 0.1, EndS: 1e9 / 3, Why: "the latest"}},
		Inputs:   []SessionInput{{Item: 0, DeskInput: 1, Output: 2, Channel: "Kick <In> & \"Out\"", Group: "Drums", Rig: MainRig, Track: 4, TrimDB: -0.1, Status: Missing, Why: "no track"}},
		Problems: []string{"Kick In is dead in this take"}}
	first := must(s.SaveSession(ctx, give))(t)
	if first.ID != 1 || !first.CreatedAt.Equal(s.now()) {
		t.Errorf("stored %+v", first)
	}
	empty := must(s.SaveSession(ctx, Session{Desk: "broadcast"}))(t)
	for _, c := range []struct {
		id   SessionID
		want Session
	}{{first.ID, first}, {empty.ID, empty}, {0, empty}} {
		if got := must(s.Session(ctx, c.id))(t); !reflect.DeepEqual(got, c.want) {
			t.Errorf("session %d: got %+v, want %+v", c.id, got, c.want)
		}
	}
	want := give
	want.ID, want.CreatedAt = first.ID, first.CreatedAt
	if !reflect.DeepEqual(first, want) {
		t.Errorf("got %+v, want %+v", first, want)
	}
	if all := must(s.Sessions(ctx))(t); !reflect.DeepEqual(all, []Session{first, empty}) {
		t.Errorf("all: %+v", all)
	}
	if empty.Items == nil || empty.Inputs == nil || empty.Problems == nil {
		t.Errorf("nil lists: %+v", empty)
	}
	_, err = s.Session(ctx, 99)
	wantNotFound(t, err, "playback session")
	if _, err := s.SaveSession(ctx, Session{Inputs: []SessionInput{{TrimDB: math.NaN()}}}); err == nil {
		t.Error("a trim that is no number was stored")
	}
}

func TestDesks(t *testing.T) {
	s := testStore(t)
	ctx := t.Context()
	_, err := s.Desk(ctx, "foh")
	wantNotFound(t, err, "desk")
	ok(t, s.SaveDesk(ctx, Desk{Name: "Front of House", Inputs: []DeskInput{{Input: 9, Channel: "Old"}}}))
	ok(t, s.SaveDesk(ctx, Desk{Name: "front-of-house", Inputs: []DeskInput{{Input: 2, Channel: "Bass", Output: 12}, {Input: 1, Channel: "Kick", GainDB: dB(23.5)}}}))
	ok(t, s.SaveDesk(ctx, Desk{Name: "broadcast"}))
	got := must(s.Desks(ctx))(t)
	if len(got) != 2 || got[0].Name != "broadcast" || got[0].Inputs == nil ||
		!reflect.DeepEqual(got[1].Inputs, []DeskInput{{1, "Kick", dB(23.5), 1}, {2, "Bass", nil, 12}}) {
		t.Errorf("got %+v", got)
	}
	for name, bad := range map[string]Desk{
		"no name":    {Name: " "},
		"input 0":    {Name: "broadcast", Inputs: []DeskInput{{Input: 0, Channel: "Kick"}}},
		"no channel": {Name: "broadcast", Inputs: []DeskInput{{Input: 1}}},
		"twice":      {Name: "broadcast", Inputs: []DeskInput{{Input: 1, Channel: "a"}, {Input: 1, Channel: "b"}}},
	} {
		if err := s.SaveDesk(ctx, bad); err == nil {
			t.Errorf("%s: stored", name)
		}
	}
	if again := must(s.Desks(ctx))(t); !reflect.DeepEqual(again, got) {
		t.Errorf("refused desks left %+v", again)
	}
	if d := must(s.Desk(ctx, "FRONT OF HOUSE"))(t); d.Name != "front-of-house" {
		t.Errorf("got %+v", d)
	}
}
