package session

import (
	"context"
	"fmt"
	"math"

	"nightreel/catalog"
)

// Adjustment is a person's change to one desk input in one item.
type Adjustment struct {
	Item      int // index into the session's items, from 0
	DeskInput int
	Status    catalog.InputStatus // Playback or Stage; "" keeps it
	TrimDB    *float64            // nil keeps it
	Beyond    bool                // the person means a trim beyond ±catalog.AskTrimDB
}

// Adjust stores a copy of a session with some inputs changed, and returns it.
// The given session stays as it is, because it may have been rendered or
// printed. It returns *[RequestError] for an input that is not in the session,
// and for one without a track that is to be put on playback.
func Adjust(ctx context.Context, store *catalog.Store, ses catalog.Session, changes []Adjustment) (catalog.Session, error) {
	ses.Inputs = append([]catalog.SessionInput{}, ses.Inputs...)
	for _, c := range changes {
		in := find(ses.Inputs, c)
		if in == nil {
			return catalog.Session{}, &RequestError{fmt.Sprintf("session %d has no desk input %d in item %d", ses.ID, c.DeskInput, c.Item+1), "look at the session as it is now"}
		}
		if c.TrimDB != nil {
			if !(math.Abs(*c.TrimDB) <= catalog.MostTrimDB) {
				return catalog.Session{}, &RequestError{fmt.Sprintf("a trim of %g dB for %s is beyond %d dB", *c.TrimDB, in.Channel, catalog.MostTrimDB), "give a trim in dB, for example -3"}
			}
			if math.Abs(*c.TrimDB) > catalog.AskTrimDB && *c.TrimDB != in.TrimDB && !c.Beyond {
				return catalog.Session{}, &RequestError{fmt.Sprintf("a trim of %+g dB for desk input %d %s is beyond %d dB", *c.TrimDB, in.DeskInput, in.Channel, catalog.AskTrimDB), "check the gains; if the trim is right, tick that trims beyond 20 dB are meant"}
			}
			if in.Status == catalog.Playback && *c.TrimDB != in.TrimDB {
				in.TrimDB, in.Why = *c.TrimDB, fmt.Sprintf("trim %+.1f dB by hand", *c.TrimDB)
			}
		}
		switch c.Status {
		case "", in.Status:
		case catalog.Stage:
			in.Status, in.Why = catalog.Stage, "left on the stage by hand"
		case catalog.Playback:
			if in.Track == 0 {
				return catalog.Session{}, &RequestError{fmt.Sprintf("%s (desk input %d) has no track in item %d to play", in.Channel, in.DeskInput, c.Item+1), "build the session again with this channel"}
			}
			in.Status, in.Why = catalog.Playback, "put on playback by hand"
		default:
			return catalog.Session{}, &RequestError{fmt.Sprintf("an input cannot be made %q", c.Status), "playback or stage"}
		}
	}
	ses.ID = 0
	return store.SaveSession(ctx, ses)
}

func find(inputs []catalog.SessionInput, c Adjustment) *catalog.SessionInput {
	for i := range inputs {
		if inputs[i].Item == c.Item && inputs[i].DeskInput == c.DeskInput {
			return &inputs[i]
		}
	}
	return nil
}
