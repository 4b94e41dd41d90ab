package refresh_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
	"nightreel/internal/songs"
)

// A step enters a fact. Steps may be entered in any order, except those that
// need another one first, and repeatedly.
type step struct {
	name  string
	after []string // steps that must come first
	once  bool     // repeating it would enter another fact
	do    func(ctx context.Context, store *catalog.Store, dir string) error
}

func scanning(folders ...string) func(context.Context, *catalog.Store, string) error {
	return func(ctx context.Context, store *catalog.Store, dir string) error {
		var dirs []string
		for _, f := range folders {
			dirs = append(dirs, filepath.Join(dir, f))
		}
		_, err := scan.Run(ctx, store, dirs, scan.Options{}, nil)
		return err
	}
}

func setList(night int, lines ...string) func(context.Context, *catalog.Store, string) error {
	return func(ctx context.Context, store *catalog.Store, _ string) error {
		var entries []catalog.SetListEntry
		for _, l := range lines {
			entries = append(entries, catalog.SetListEntry{Song: l})
		}
		return store.SaveSetList(ctx, catalog.ShowKey(tourNights[night].show), entries)
	}
}

func inputList(from catalog.ShowKey, only bool, rig string, channels ...string) func(context.Context, *catalog.Store, string) error {
	return func(ctx context.Context, store *catalog.Store, _ string) error {
		list := catalog.InputList{From: from, Only: only, Rig: rig}
		for i, c := range channels {
			gain := 20 + float64(i)
			list.Inputs = append(list.Inputs, catalog.Input{Track: i + 1, Channel: c, GainDB: &gain})
		}
		return store.SaveInputList(ctx, list)
	}
}

func take(night int, song string, start, end float64) func(context.Context, *catalog.Store, string) error {
	return func(ctx context.Context, store *catalog.Store, _ string) error {
		// As a command does: positions count on the reference that it shows.
		if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
			return err
		}
		_, err := songs.Set(ctx, store, songs.SetRequest{Show: catalog.ShowKey(tourNights[night].show), Song: song, StartS: start, EndS: end})
		return err
	}
}

// tourSteps are the facts of the tour.
func tourSteps() []step {
	start, end := spanOf(1, 1)
	start2, end2 := spanOf(2, 0)
	steps := []step{
		{name: "list 4", after: []string{"scan 4"}, do: setList(3, "Copper Stair", "WINTER FERRY")},
		{name: "list 1", after: []string{"scan 1"}, do: setList(0, "Copper Stair", "low lantern", "Winter Ferry")},
		{name: "list 2", after: []string{"scan 2"}, do: setList(1, "Winter ferry", "Copper Stair", "Low Lantern", "Never Played")},
		// One night alone has an organ. How urgent it is that the others lack one depends
		// on that night's list.
		{name: "inputs", do: inputList("2031-06-01", false, "", append(mainChannels, "Organ")...)},
		{name: "inputs of the third night", after: []string{"scan 3", "scan 4"}, do: inputList("2031-06-04 evening", true, "main", "Kick", "Bass", "Guitar", "Organ", "Vocal", "Audience")},
		{name: "a person's take", after: []string{"scan 2"}, once: true, do: take(1, "Copper Stair", start-0.4, end+0.3)},
		{name: "a take that goes again", after: []string{"scan 3", "scan 4"}, once: true, do: take(2, "Low Lantern", start2, end2)},
		{name: "its deletion", after: []string{"a take that goes again"}, once: true, do: func(ctx context.Context, store *catalog.Store, _ string) error {
			takes, err := store.Takes(ctx, catalog.TakeFilter{Show: "2031-06-04 evening"})
			for _, t := range takes {
				if t.FoundBy == catalog.ByPerson {
					return songs.Delete(ctx, store, t.ID)
				}
			}
			return errors.Join(err, errors.New("there is no take to delete"))
		}},
		{name: "an acceptance", after: []string{"scan 2"}, do: func(ctx context.Context, store *catalog.Store, _ string) error {
			if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
				return err
			}
			found, err := store.Findings(ctx, catalog.FindingFilter{Show: "2031-06-03", Kind: catalog.DCOffset})
			if err != nil || len(found) == 0 {
				return errors.Join(err, errors.New("no offset was found to accept"))
			}
			return store.AcceptFinding(ctx, found[0].ID, "known")
		}},
		{name: "a note", after: []string{"scan 1"}, once: true, do: func(ctx context.Context, store *catalog.Store, _ string) error {
			_, err := store.AddNote(ctx, "2031-06-01", "new strings")
			return err
		}},
	}
	// Lists name the two shows of the last date, so both must exist first.
	steps[0].after = append(steps[0].after, "scan 3")
	for i, n := range tourNights {
		scan := fmt.Sprint("scan ", i+1)
		// The main rig's scan creates the show; the others may come later, or
		// together with it.
		steps = append(steps, step{name: scan, do: scanning(filepath.Join(n.folder, "main"))})
		for _, rig := range n.rigs[1:] {
			steps = append(steps, step{name: scan + " " + rig, do: scanning(filepath.Join(n.folder, rig))})
		}
		steps = append(steps, step{name: scan + " whole", do: scanning(n.folder)})
	}
	return steps
}

// play enters all steps in a random order, some of them repeatedly, with
// refreshes in between, some of which are cancelled half-way. It returns the
// order.
func play(t *testing.T, ctx context.Context, store *catalog.Store, dir string, rng *rand.Rand) (order []string) {
	steps := tourSteps()
	rng.Shuffle(len(steps), func(i, j int) { steps[i], steps[j] = steps[j], steps[i] })
	if rng.IntN(8) == 0 { // all nights at once
		steps = append([]step{{name: "scan all", do: scanning(".")}}, steps...)
	}
	done := map[string]bool{}
	enter := func(s step) {
		order = append(order, s.name)
		if strings.HasPrefix(s.name, "scan") && rng.IntN(4) == 0 {
			order[len(order)-1] += ", first interrupted"
			short, stop := context.WithTimeout(ctx, time.Duration(rng.IntN(80))*time.Millisecond)
			if err := s.do(short, store, dir); err != nil && short.Err() == nil {
				t.Fatalf("%s: %v", strings.Join(order, ", "), err)
			}
			stop()
		}
		if err := s.do(ctx, store, dir); err != nil {
			t.Fatalf("%s: %v", strings.Join(order, ", "), err)
		}
		done[s.name] = true
		if s.name == "scan all" {
			for i := range tourNights {
				done[fmt.Sprint("scan ", i+1)] = true
			}
		}
	}
	for left := steps; len(left) > 0; {
		var later []step
		for _, s := range left {
			ready := true
			for _, a := range s.after {
				ready = ready && done[a]
			}
			if !ready {
				later = append(later, s)
				continue
			}
			enter(s)
			switch rng.IntN(6) {
			case 0:
				order = append(order, "refresh")
				if _, err := refresh.Tour(ctx, store, refresh.Options{}); err != nil {
					t.Fatalf("%s: %v", strings.Join(order, ", "), err)
				}
			case 1:
				order = append(order, "refresh, interrupted")
				short, stop := context.WithTimeout(ctx, time.Duration(rng.IntN(60))*time.Millisecond)
				if _, err := refresh.Tour(short, store, refresh.Options{}); err != nil && short.Err() == nil {
					t.Fatalf("%s: %v", strings.Join(order, ", "), err)
				}
				stop()
			case 2:
				if again := steps[rng.IntN(len(steps))]; done[again.name] && !again.once {
					enter(again)
				}
			}
		}
		left = later
	}
	return order
}

// dumped brings a catalog up to date and returns its dump.
func dumped(t *testing.T, store *catalog.Store) string {
	t.Helper()
	if _, err := refresh.Tour(t.Context(), store, refresh.Options{}); err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := refresh.Dump(t.Context(), store, &b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func openCatalog(t *testing.T, dir string) *catalog.Store {
	t.Helper()
	return openCatalogAt(t, filepath.Join(dir, "c.nightreel"))
}

func openCatalogAt(t *testing.T, path string) *catalog.Store {
	t.Helper()
	store, err := catalog.Open(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	return store
}

// differing returns the first lines in which two dumps differ.
func differing(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range max(len(x), len(y)) {
		var p, q string
		if i < len(x) {
			p = x[i]
		}
		if i < len(y) {
			q = y[i]
		}
		if p != q {
			return fmt.Sprintf("line %d is\n%s\nwant\n%s", i+1, q, p)
		}
	}
	return ""
}

// orders is how many random orders the test plays; with -short fewer.
const orders = 200

// The same facts give the same results, byte for byte, in whatever order they
// were entered, however often, and whatever was interrupted in between.
func TestResultsDoNotDependOnTheOrderOfFacts(t *testing.T) {
	dir := t.TempDir()
	makeTour(t, dir)
	store := openCatalog(t, t.TempDir())
	order := play(t, t.Context(), store, dir, rand.New(rand.NewPCG(0, 0)))
	want := dumped(t, store)
	if f := os.Getenv("DUMP"); f != "" {
		os.WriteFile(f, []byte(want), 0o644)
	}
	for _, must := range []string{"take \"2031-06-03\" \"Copper Stair\"", "dc_offset", "\"music\"", "\"person\""} {
		if !strings.Contains(want, must) {
			t.Errorf("the dump has no %s, so the test does not cover it", must)
		}
	}
	n := orders
	if testing.Short() {
		n = 12
	}
	for seed := range n {
		t.Run(fmt.Sprint(seed+1), func(t *testing.T) {
			t.Parallel()
			store := openCatalog(t, t.TempDir())
			order2 := play(t, t.Context(), store, dir, rand.New(rand.NewPCG(uint64(seed+1), 0)))
			if got := dumped(t, store); got != want {
				t.Errorf("%s\nagainst %s\n%s", strings.Join(order2, ", "), strings.Join(order, ", "), differing(want, got))
			}
		})
	}
}

// Deleting all results, or all cached values, changes no answer.
func TestResultsComeBackFromFacts(t *testing.T) {
	dir := t.TempDir()
	makeTour(t, dir)
	store := openCatalog(t, t.TempDir())
	play(t, t.Context(), store, dir, rand.New(rand.NewPCG(3, 0)))
	want := dumped(t, store)
	if err := store.DropResults(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := dumped(t, store); got != want {
		t.Error(differing(want, got))
	}
}

// A refresh of up-to-date results computes nothing.
func TestRefreshingTwiceComputesNothing(t *testing.T) {
	dir := t.TempDir()
	makeTour(t, dir)
	store := openCatalog(t, t.TempDir())
	play(t, t.Context(), store, dir, rand.New(rand.NewPCG(4, 0)))
	dumped(t, store)
	report, err := refresh.Tour(t.Context(), store, refresh.Options{})
	if err != nil || len(report.Placed)+len(report.Judged)+report.Prepared > 0 {
		t.Errorf("%+v, %v", report, err)
	}
}

// A refresh that is interrupted anywhere is completed by the next one.
func TestRefreshingGoesOnWhereItWasInterrupted(t *testing.T) {
	dir := t.TempDir()
	makeTour(t, dir)
	store := openCatalog(t, t.TempDir())
	play(t, t.Context(), store, dir, rand.New(rand.NewPCG(5, 0)))
	want := dumped(t, store)
	interrupted := 0
	for at := 1; ; at += at/3 + 1 {
		if err := store.DropResults(t.Context()); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		short := &countedContext{Context: ctx, stop: stop}
		short.left.Store(int64(at))
		_, err := refresh.Tour(short, store, refresh.Options{})
		stop()
		if err == nil {
			break
		}
		interrupted++
		if got := dumped(t, store); got != want {
			t.Fatalf("interrupted at step %d: %s", at, differing(want, got))
		}
	}
	if interrupted < 10 {
		t.Errorf("interrupted %d times", interrupted)
	}
}

// countedContext is cancelled after a number of calls of Err.
type countedContext struct {
	context.Context
	stop context.CancelFunc
	left atomic.Int64
}

func (c *countedContext) count() {
	if c.left.Add(-1) == 0 {
		c.stop()
	}
}

func (c *countedContext) Done() <-chan struct{} { c.count(); return c.Context.Done() }
func (c *countedContext) Err() error            { c.count(); return c.Context.Err() }
