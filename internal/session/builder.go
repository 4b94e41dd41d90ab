package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/envelope"
)

// builder caches what is read from the catalog for one session.
type builder struct {
	store *catalog.Store
	req   Request
	pick  pick
	desk  catalog.Desk
	lists []catalog.InputList

	nights     map[catalog.ShowKey]*night
	candidates map[catalog.TakeID]*candidate
}

// night holds the recordings of one show.
type night struct {
	recordings []catalog.Recording
	tracks     []catalog.Track
	findings   map[catalog.RecordingID][]catalog.Finding
}

func newBuilder(ctx context.Context, store *catalog.Store, req Request) (*builder, error) {
	b := &builder{store: store, req: req, nights: map[catalog.ShowKey]*night{}, candidates: map[catalog.TakeID]*candidate{}}
	var err error
	if b.pick, err = parsePick(req.Pick); err != nil {
		return nil, err
	}
	if len(req.Songs) == 0 && req.Show == "" {
		return nil, &RequestError{"there is neither a song nor a show", "name songs, or a show for its whole set"}
	}
	for _, show := range []*catalog.ShowKey{&b.req.Show, &b.pick.date} {
		if *show == "" {
			continue
		}
		sh, err := store.Show(ctx, *show)
		if err != nil {
			return nil, err
		}
		*show = sh.Key
	}
	if req.Show = b.req.Show; req.Show != "" {
		if b.pick.date != "" && b.pick.date != req.Show {
			return nil, &RequestError{fmt.Sprintf("the show is %s, but the takes are picked from %s", req.Show, b.pick.date), "name one date, not two"}
		}
	}
	if b.desk, err = store.Desk(ctx, req.Desk); err != nil {
		return nil, err
	}
	if len(b.desk.Inputs) == 0 {
		return nil, &RequestError{fmt.Sprintf("desk %s has no inputs", b.desk.Name), "nightreel desk import FILE --name NAME reads its patch"}
	}
	if b.lists, err = store.InputLists(ctx); err != nil {
		return nil, err
	}
	if req.Rig != "" {
		if err := b.knowsRig(ctx); err != nil {
			return nil, err
		}
	}
	return b, b.knowsNames()
}

// knowsRig refuses a rig that recorded nothing.
func (b *builder) knowsRig(ctx context.Context) error {
	all, err := b.store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return err
	}
	rigs := []string{}
	for _, r := range all {
		if catalog.SameName(r.Rig, b.req.Rig) {
			return nil
		}
		if !slices.Contains(rigs, r.Rig) {
			rigs = append(rigs, r.Rig)
		}
	}
	return &RequestError{fmt.Sprintf("no rig is called %q", b.req.Rig), "rigs are " + strings.Join(rigs, ", ")}
}

// knowsNames refuses a name in Only or Except that is neither a channel nor a
// group: a typing error would put an input on playback that was to stay on the
// stage.
func (b *builder) knowsNames() error {
	known, names := map[string]bool{}, []string{}
	add := func(name string) {
		if name != "" && !known[catalog.Key(name)] {
			known[catalog.Key(name)] = true
			names = append(names, name)
		}
	}
	for _, l := range b.lists {
		for _, in := range l.Inputs {
			add(in.Group)
		}
	}
	for _, d := range b.desk.Inputs {
		add(d.Channel)
	}
	for _, name := range slices.Concat(b.req.Only, b.req.Except) {
		if !known[catalog.Key(name)] {
			return &RequestError{fmt.Sprintf("%q is neither a channel of desk %s nor a group of the input list", name, b.desk.Name), "there are " + strings.Join(names, ", ")}
		}
	}
	return nil
}

// stays returns why a channel stays on the stage by request, or "" if it does
// not.
func (b *builder) stays(channel, group string) string {
	for _, name := range b.req.Except {
		if catalog.SameName(name, channel) || group != "" && catalog.SameName(name, group) {
			return fmt.Sprintf("left on the stage as asked (except %s)", name)
		}
	}
	if len(b.req.Only) == 0 {
		return ""
	}
	for _, name := range b.req.Only {
		if catalog.SameName(name, channel) || group != "" && catalog.SameName(name, group) {
			return ""
		}
	}
	return fmt.Sprintf("left on the stage as asked (only %s)", strings.Join(b.req.Only, ", "))
}

// group returns the group of a channel: that of the night, else the latest that
// any input list gives it. So Only and Except work for a missing track too.
func (b *builder) group(n *night, r catalog.Recording, channel string) string {
	for _, t := range n.tracksOf(r.ID, channel) {
		if t.Input.Group != "" {
			return t.Input.Group
		}
	}
	group := ""
	for _, l := range b.lists {
		for _, in := range l.Inputs {
			if in.Group != "" && catalog.SameName(in.Channel, channel) {
				group = in.Group
			}
		}
	}
	return group
}

// listedTrack returns the track number that the input list in force gives a
// channel, 0 if there is none.
func (b *builder) listedTrack(c *candidate, channel string) int {
	for _, in := range catalog.InForce(b.lists, c.take.Show, c.rec.Rig) {
		if catalog.SameName(in.Channel, channel) {
			return in.Track
		}
	}
	return 0
}

// night reads what a show recorded, once.
func (b *builder) night(ctx context.Context, date catalog.ShowKey) (*night, error) {
	if n := b.nights[date]; n != nil {
		return n, nil
	}
	n := &night{findings: map[catalog.RecordingID][]catalog.Finding{}}
	var err error
	if n.recordings, err = b.store.Recordings(ctx, catalog.RecordingFilter{Show: date}); err != nil {
		return nil, err
	}
	if n.tracks, err = b.store.Tracks(ctx, catalog.TrackFilter{Show: date}); err != nil {
		return nil, err
	}
	findings, err := b.store.Findings(ctx, catalog.FindingFilter{Show: date})
	if err != nil {
		return nil, err
	}
	for _, f := range findings {
		n.findings[f.RecordingID] = append(n.findings[f.RecordingID], f)
	}
	b.nights[date] = n
	return n, nil
}

func (n *night) recording(id catalog.RecordingID) (catalog.Recording, bool) {
	for _, r := range n.recordings {
		if r.ID == id {
			return r, true
		}
	}
	return catalog.Recording{}, false
}

// tracksOf returns the tracks of a recording that hold a channel.
func (n *night) tracksOf(id catalog.RecordingID, channel string) []catalog.Track {
	found := []catalog.Track{}
	for _, t := range n.tracks {
		if t.RecordingID == id && catalog.SameName(t.Channel, channel) {
			found = append(found, t)
		}
	}
	return found
}

// otherRig returns a text that names another recording of the night that holds a
// channel during the take, or "".
func (n *night) otherRig(c *candidate, channel string) string {
	for _, r := range n.recordings {
		if r.ID == c.rec.ID {
			continue
		}
		for _, t := range n.tracksOf(r.ID, channel) {
			if c.rec.Map(c.start, r) < t.Frames && c.rec.Map(c.end, r) > 0 {
				return fmt.Sprintf("rig %s has it on track %d", r.Rig, t.Number)
			}
		}
	}
	return ""
}

// problems returns what is wrong with a chosen take, and which other takes are
// better.
func (b *builder) problems(ctx context.Context, c *candidate) ([]string, error) {
	found := []string{}
	add := func(in *input, text string) {
		found = append(found, problemHead(c.item(), in.SessionInput)+": "+text)
	}
	for _, note := range c.notes {
		found = append(found, c.title()+": "+note)
	}
	for i, in := range c.inputs {
		switch in.Status {
		case catalog.Missing:
			better, err := b.better(ctx, c, i)
			if err != nil {
				return nil, err
			}
			add(in, in.Why+better)
		case catalog.Playback:
			if bad := in.spoilt(); len(bad) > 0 || len(in.remarks) > 0 {
				words := slices.Clone(in.remarks)
				if len(bad) > 0 {
					words = append([]string{findingWords(bad)}, words...)
				}
				better, err := b.better(ctx, c, i)
				if err != nil {
					return nil, err
				}
				add(in, strings.Join(words, "; ")+better)
			}
			text, err := b.tooHot(ctx, c, in)
			if err != nil {
				return nil, err
			}
			if text != "" {
				add(in, text)
			}
		}
	}
	return found, nil
}

// maxBetter bounds the other takes that a problem names.
const maxBetter = 3

// better names other takes of the song, newest first, in which the i-th desk
// input is fine.
func (b *builder) better(ctx context.Context, c *candidate, i int) (string, error) {
	takes, err := b.store.Takes(ctx, catalog.TakeFilter{Song: c.take.Song})
	if err != nil {
		return "", err
	}
	dates := []string{}
	for _, t := range slices.Backward(takes) {
		if t.ID == c.take.ID {
			continue
		}
		other, err := b.candidate(ctx, t)
		if err != nil {
			return "", err
		}
		if other.inputs[i].fine() && len(dates) < maxBetter && !slices.Contains(dates, string(t.Show)) {
			dates = append(dates, string(t.Show))
		}
	}
	switch {
	case len(takes) == 1:
		return "; there is no other take", nil
	case len(dates) == 0:
		return "; no other take is better", nil
	}
	return "; fine in the take of " + strings.Join(dates, ", "), nil
}

// tooHot returns a text if a trim would drive an input over full scale, and by
// how much, or "". Tracks that were not measured are not judged here: rendering
// counts every sample.
func (b *builder) tooHot(ctx context.Context, c *candidate, in *input) (string, error) {
	if in.TrimDB <= 0 {
		return "", nil
	}
	f, err := in.load(ctx, b.store, c)
	var unmeasured *envelope.NotMeasuredError
	if errors.As(err, &unmeasured) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	if over := float64(f.SamplePeak) + in.TrimDB; over > 0 {
		return fmt.Sprintf("peaks at %.1f dBFS; the trim of %+.1f dB would drive it %.1f dB over full scale, as tonight's gain would", float64(f.SamplePeak), in.TrimDB, over), nil
	}
	return "", nil
}
