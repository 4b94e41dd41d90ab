// Package refresh keeps results up to date. Facts are what files hold and what a
// person entered. Results are computed from them: what each show's own facts
// imply about its songs, its takes, and the findings about its recordings.
// Commands and pages write facts and call [Tour]; nothing else decides what is
// computed again, or in which order.
//
// Every result carries a stamp of what it was made of. A result is stale if its
// stamp differs from that of today's facts. Results build on each other in one
// direction, and none feeds its own next computation:
//
//	own(show)      from the show's own facts
//	placed(show)   from its facts, and own of the shows that [songs.References] chooses
//	findings(show) from placed, and placed and the facts of the nearest shows
//
// So the same facts give the same results, in whatever order they were entered.
package refresh

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync/atomic"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/envelope"
	"nightreel/internal/evidence"
	"nightreel/internal/findings"
	"nightreel/internal/lists"
	"nightreel/internal/rigs"
	"nightreel/internal/songs"
)

// The versions of the computations. Raise one if it computes something else from
// the same facts: that makes all its results stale.
const (
	ownVersion      = 2
	placedVersion   = 2
	findingsVersion = 6
)

// Version combines all of them: see [catalog.Store.Refreshed].
var Version = fmt.Sprint(ownVersion, placedVersion, findingsVersion)

// Options are the choices of [Tour]. The zero value refreshes the whole tour.
type Options struct {
	// First are the shows that a person waits for.
	First []catalog.ShowKey
	// Answered is called once, when the results of First are complete. Other
	// shows may still be stale then, and results of First may change once more
	// with them.
	Answered func(Report) error
	// Progress, if not nil, receives the progress.
	Progress *Progress
}

// Progress describes the current work of a refresh. Other goroutines may read
// it.
type Progress struct {
	doing atomic.Pointer[string]
}

// Doing returns the current work in words for a person; "" if there is none.
func (p *Progress) Doing() string {
	if s := p.doing.Load(); s != nil {
		return *s
	}
	return ""
}

func (p *Progress) set(format string, args ...any) {
	if p != nil {
		s := fmt.Sprintf(format, args...)
		p.doing.Store(&s)
	}
}

// Report lists what a refresh computed.
type Report struct {
	Placed   []catalog.ShowKey // whose songs were placed again
	Judged   []catalog.ShowKey // whose recordings were judged again
	Prepared int               // number of shows whose figures were cached for screens
	// Learned lists changes on shows that are not in First, a sentence each.
	Learned []string
}

// mostRounds bounds how often a refresh begins again because facts changed
// meanwhile. The next refresh does the rest.
const mostRounds = 4

// Tour brings the results of all shows up to date. If they already are, it takes
// milliseconds. A cancelled refresh keeps the finished results and returns ctx's
// error; the next one continues from there.
func Tour(ctx context.Context, store *catalog.Store, opt Options) (Report, error) {
	r := &refresher{store: store, opt: opt}
	defer opt.Progress.set("")
	for range mostRounds {
		done, changes, err := store.Refreshed(ctx, Version)
		if err != nil {
			return r.report, err
		}
		if done {
			break
		}
		if done, err = r.round(ctx); err == nil && done {
			err = store.PutRefreshed(ctx, Version, changes)
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return r.report, err
		}
		if done {
			break
		}
	}
	return r.report, r.answered()
}

// Current reports whether the last refresh was complete and no fact changed
// since. state increases whenever that answer changes. It costs one short query.
func Current(ctx context.Context, store *catalog.Store) (current bool, state int64, err error) {
	current, changes, err := store.Refreshed(ctx, Version)
	state = 2 * changes
	if current {
		state++
	}
	return current, state, err
}

// Stale returns the shows with results that do not match today's facts: never
// computed, interrupted, or computed by another version. It computes nothing.
func Stale(ctx context.Context, store *catalog.Store) ([]catalog.ShowKey, error) {
	if done, _, err := store.Refreshed(ctx, Version); done || err != nil {
		return []catalog.ShowKey{}, err
	}
	r := &refresher{store: store}
	if err := r.load(ctx); err != nil {
		return nil, err
	}
	stale := []catalog.ShowKey{}
	for _, show := range r.facts.shows {
		placed, _ := r.placedStamp(show)
		if r.stale(catalog.OwnResult, show, r.ownStamp(show)) || r.stale(catalog.PlacedResult, show, placed) || r.stale(catalog.FindingsResult, show, r.findingsStamp(show)) {
			stale = append(stale, show)
		}
	}
	return stale, nil
}

// Songs brings the takes of one show up to date and nothing else. The evaluation
// of songs uses it.
func Songs(ctx context.Context, store *catalog.Store, show catalog.ShowKey) error {
	r := &refresher{store: store}
	if err := r.load(ctx); err != nil {
		return err
	}
	if _, err := r.each(ctx, "set lists and markers", r.facts.shows, r.findOwn); err != nil {
		return err
	}
	_, err := r.each(ctx, "songs", []catalog.ShowKey{show}, r.place)
	return err
}

// refresher is one refresh.
type refresher struct {
	store  *catalog.Store
	opt    Options
	report Report

	facts    *facts
	own      map[catalog.ShowKey]songs.Own
	results  map[catalog.ResultKind]map[catalog.ShowKey]catalog.Result
	answerIn bool
}

// settleRigs finds the offsets and the reference of every show. An unchanged
// recording costs two queries.
func settleRigs(ctx context.Context, store *catalog.Store) error {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return err
	}
	for _, show := range shows {
		if _, err := rigs.Settle(ctx, store, show.Key); err != nil {
			return err
		}
	}
	return nil
}

// round brings everything up to date with the facts as they are when it begins;
// done is true if nothing was stale.
func (r *refresher) round(ctx context.Context) (done bool, err error) {
	if err := settleRigs(ctx, r.store); err != nil {
		return false, err
	}
	if err := r.load(ctx); err != nil {
		return false, err
	}
	first := slices.DeleteFunc(slices.Clone(r.opt.First), func(k catalog.ShowKey) bool { return r.facts.of[k] == nil })
	worked := false
	for _, shows := range [][]catalog.ShowKey{first, r.facts.shows} {
		// Own is cheap to compute, and every other result needs that of all
		// shows.
		n, err := r.each(ctx, "set lists and markers", r.facts.shows, r.findOwn)
		if err != nil {
			return false, err
		}
		worked = worked || n > 0
		if n, err = r.each(ctx, "songs", shows, r.place); err != nil {
			return false, err
		}
		worked = worked || n > 0
		if n, err = r.each(ctx, "channels", shows, r.judge); err != nil {
			return false, err
		}
		worked = worked || n > 0
		if len(first) > 0 {
			if err := r.answered(); err != nil {
				return false, err
			}
		}
		if err := r.prepare(ctx, shows); err != nil {
			return false, err
		}
	}
	return !worked, nil
}

// answered calls Options.Answered once the results of First are complete.
func (r *refresher) answered() error {
	if r.answerIn || r.opt.Answered == nil {
		return nil
	}
	r.answerIn = true
	return r.opt.Answered(r.report)
}

// load reads the facts and the results as they are.
func (r *refresher) load(ctx context.Context) error {
	r.opt.Progress.set("checking what is out of date")
	var err error
	if r.facts, err = readFacts(ctx, r.store); err != nil {
		return err
	}
	r.results = map[catalog.ResultKind]map[catalog.ShowKey]catalog.Result{}
	for _, kind := range []catalog.ResultKind{catalog.OwnResult, catalog.PlacedResult, catalog.FindingsResult} {
		if r.results[kind], err = r.store.Results(ctx, kind); err != nil {
			return err
		}
	}
	r.own = map[catalog.ShowKey]songs.Own{}
	for key, result := range r.results[catalog.OwnResult] {
		var own songs.Own
		if json.Unmarshal(result.Content, &own) == nil { // on an error the stamp is of another version
			r.own[key] = own
		}
	}
	return nil
}

// each runs one computation over shows and counts those that were stale.
func (r *refresher) each(ctx context.Context, what string, shows []catalog.ShowKey, compute func(context.Context, catalog.ShowKey) (bool, error)) (stale int, err error) {
	for i, show := range shows {
		if err := ctx.Err(); err != nil {
			return stale, err
		}
		r.opt.Progress.set("%s: %s (%d of %d shows)", what, show, i+1, len(shows))
		worked, err := compute(ctx, show)
		if err != nil {
			return stale, fmt.Errorf("%s: %w", show, err)
		}
		if worked {
			stale++
		}
	}
	return stale, nil
}

// stale reports whether the stamp of a show's result differs from the given one.
func (r *refresher) stale(kind catalog.ResultKind, show catalog.ShowKey, stamp string) bool {
	return r.results[kind][show].Stamp != stamp
}

// keep stores a result.
func (r *refresher) keep(ctx context.Context, result catalog.Result) error {
	r.results[result.Kind][result.Show] = result
	return r.store.PutResult(ctx, result)
}

// ownStamp covers all that findOwn depends on.
func (r *refresher) ownStamp(show catalog.ShowKey) string {
	return digest(ownVersion, r.facts.of[show].songs)
}

// findOwn computes what a show's own facts imply about its songs.
func (r *refresher) findOwn(ctx context.Context, show catalog.ShowKey) (bool, error) {
	stamp := r.ownStamp(show)
	if !r.stale(catalog.OwnResult, show, stamp) {
		return false, nil
	}
	own, err := songs.FindOwn(ctx, r.store, show)
	if err != nil {
		return false, err
	}
	content, err := json.Marshal(own)
	if err != nil {
		return false, err
	}
	r.own[show] = own
	return true, r.keep(ctx, catalog.Result{Kind: catalog.OwnResult, Show: show, Stamp: stamp, Digest: digest(own, r.facts.of[show].sound), Content: content})
}

// placedContent is what is stored of a placing beside the takes.
type placedContent struct {
	NotPlaced []string     `json:"not_placed"`
	Unnamed   []songs.Span `json:"unnamed"`
	Problems  []string     `json:"problems"`
}

// placedStamp covers all that place depends on. It returns the references too.
func (r *refresher) placedStamp(show catalog.ShowKey) (string, []songs.Reference) {
	refs := songs.References(r.own, show)
	sounds := map[catalog.ShowKey]string{}
	for _, ref := range refs {
		sounds[ref.Show] = r.facts.of[ref.Show].sound
	}
	return digest(placedVersion, r.facts.of[show].songs, refs, sounds), refs
}

// place places a show's songs.
func (r *refresher) place(ctx context.Context, show catalog.ShowKey) (bool, error) {
	stamp, refs := r.placedStamp(show)
	if !r.stale(catalog.PlacedResult, show, stamp) {
		return false, nil
	}
	before, err := r.store.Takes(ctx, catalog.TakeFilter{Show: show})
	if err != nil {
		return false, err
	}
	placed, err := songs.Place(ctx, r.store, show, refs)
	if err != nil {
		return false, err
	}
	content, err := json.Marshal(placedContent{placed.NotPlaced, placed.Unnamed, placed.Problems})
	if err != nil {
		return false, err
	}
	d, err := r.takesDigest(ctx, show, placed.Takes)
	if err != nil {
		return false, err
	}
	r.report.Placed = append(r.report.Placed, show)
	if said := changes(before, placed.Takes); said != "" && len(before) > 0 && !slices.Contains(r.opt.First, show) {
		r.report.Learned = append(r.report.Learned, fmt.Sprintf("%s: songs placed again, because new facts bear on them: %s", show, said))
	}
	return true, r.keep(ctx, catalog.Result{Kind: catalog.PlacedResult, Show: show, Stamp: stamp, Digest: d, Content: content})
}

// Warnings returns what a person should know about shows that were placed:
// titles without a take, problems of the placing, and names of tracks that
// contradict the input list.
func Warnings(ctx context.Context, store *catalog.Store, shows []catalog.ShowKey) ([]string, error) {
	results, err := store.Results(ctx, catalog.PlacedResult)
	if err != nil {
		return nil, err
	}
	warnings := []string{}
	for _, show := range shows {
		var placed placedContent
		if content := results[show].Content; len(content) > 0 {
			if err := json.Unmarshal(content, &placed); err != nil {
				return warnings, fmt.Errorf("%s: could not read the stored result of placing songs: %w", show, err)
			}
		}
		for _, title := range placed.NotPlaced {
			warnings = append(warnings, fmt.Sprintf("%s: no take was found for %q of the set list; nightreel takes set places it by hand", show, title))
		}
		for _, problem := range placed.Problems {
			warnings = append(warnings, fmt.Sprintf("%s: %s", show, problem))
		}
		names, err := lists.Names(ctx, store, show)
		if err != nil {
			return warnings, err
		}
		warnings = append(warnings, names...)
	}
	return warnings, nil
}

// takesDigest returns a digest of a show's takes without local ids.
func (r *refresher) takesDigest(ctx context.Context, show catalog.ShowKey, takes []catalog.Take) (string, error) {
	recordings, err := r.store.Recordings(ctx, catalog.RecordingFilter{Show: show})
	if err != nil {
		return "", err
	}
	at := map[catalog.RecordingID]int{}
	for i, rec := range recordings {
		at[rec.ID] = i
	}
	all := []any{}
	for _, t := range takes {
		all = append(all, []any{t.Song, at[t.RecordingID], t.StartFrame, t.EndFrame, t.FoundBy, t.Confidence})
	}
	return digest(all), nil
}

// near returns the shows that a show's recordings are judged against.
func (r *refresher) near(show catalog.ShowKey) evidence.Neighbours {
	var recorded []catalog.ShowKey
	for _, k := range r.facts.shows {
		if r.facts.of[k].recorded {
			recorded = append(recorded, k)
		}
	}
	return evidence.NeighboursOf(show, recorded, r.facts.of[show].channels, r.facts.channels)
}

// findingsStamp covers all that judge depends on.
func (r *refresher) findingsStamp(show catalog.ShowKey) string {
	placed := r.results[catalog.PlacedResult]
	made := []any{findingsVersion, r.facts.of[show].all, placed[show].Digest}
	for _, k := range r.near(show).All() {
		made = append(made, k, r.facts.of[k].all, placed[k].Digest)
	}
	return digest(made...)
}

// judge judges a show's recordings.
func (r *refresher) judge(ctx context.Context, show catalog.ShowKey) (bool, error) {
	stamp := r.findingsStamp(show)
	if !r.stale(catalog.FindingsResult, show, stamp) {
		return false, nil
	}
	notJudged, err := findings.Judge(ctx, r.store, r.near(show), evidence.Options{})
	if err != nil {
		return false, err
	}
	var content []byte
	if len(notJudged) > 0 {
		if content, err = json.Marshal(notJudged); err != nil {
			return false, err
		}
	}
	r.report.Judged = append(r.report.Judged, show)
	return true, r.keep(ctx, catalog.Result{Kind: catalog.FindingsResult, Show: show, Stamp: stamp, Content: content})
}

// NotJudged returns what judges that failed left unknown, by show. A judge that failed
// is part of the result: the show is judged again when one of its facts changes, or
// when a mended nightreel has a higher version of the findings.
func NotJudged(ctx context.Context, store *catalog.Store) (map[catalog.ShowKey][]catalog.NotJudged, error) {
	results, err := store.Results(ctx, catalog.FindingsResult)
	if err != nil {
		return nil, err
	}
	all := map[catalog.ShowKey][]catalog.NotJudged{}
	for show, result := range results {
		if len(result.Content) == 0 {
			continue
		}
		var of []catalog.NotJudged
		if err := json.Unmarshal(result.Content, &of); err != nil {
			return nil, fmt.Errorf("%s: could not read what was not judged: %w", show, err)
		}
		all[show] = of
	}
	return all, nil
}

// prepare caches what screens need of the computed shows: the strips of their
// recordings and the figures of their takes and tracks. Otherwise the first
// viewer would wait for them.
func (r *refresher) prepare(ctx context.Context, shows []catalog.ShowKey) error {
	for _, show := range shows {
		if !slices.Contains(r.report.Placed, show) && !slices.Contains(r.report.Judged, show) {
			continue
		}
		r.opt.Progress.set("figures: %s", show)
		if err := Prepare(ctx, r.store, show); err != nil {
			return fmt.Errorf("%s: %w", show, err)
		}
		r.report.Prepared++
	}
	return nil
}

// Prepare caches what screens need of a show: the strips of its recordings and
// the figures of its takes and tracks.
func Prepare(ctx context.Context, store *catalog.Store, show catalog.ShowKey) error {
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: show})
	if err != nil {
		return err
	}
	for _, r := range recordings {
		if err := envelope.Prepare(ctx, store, r); err != nil {
			return err
		}
	}
	if _, err := compare.Tracks(ctx, store, show); err != nil {
		return err
	}
	_, err = compare.Levels(ctx, store, compare.Filter{Show: show})
	return err
}
