package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/verdict"
)

// withNew opens the catalog for a command that may make one (scan, imports),
// runs f and closes the catalog again.
func (e *env) withNew(c *cli.Context, f func(store *catalog.Store) error) error {
	store, err := catalog.Open(c.Context, catalogPath(c))
	if err != nil {
		return err
	}
	if store.Created() {
		e.say("made a new catalog at %s", store.Path())
	}
	return closing(store, f(e.signed(c, store)))
}

// withStore opens a catalog that is there, runs f and closes the catalog again.
// A catalog that is not there is an error which offers those that are.
func (e *env) withStore(c *cli.Context, f func(store *catalog.Store) error) error {
	store, err := catalog.OpenExisting(c.Context, catalogPath(c))
	if missing := (*catalog.MissingError)(nil); errors.As(err, &missing) && len(missing.Near) == 0 {
		missing.Near = likely(missing.File)
	}
	if err != nil {
		return err
	}
	return closing(store, f(e.signed(c, store)))
}

// signed sets who signs the facts that this command enters. It reports a catalog
// that was brought up to date when it was opened.
func (e *env) signed(c *cli.Context, store *catalog.Store) *catalog.Store {
	if kept := store.Kept(); kept != "" {
		e.say("%s was made by an earlier nightreel and is up to date now; a copy of it as it was is kept as %s", store.Path(), kept)
	}
	author := strings.TrimSpace(c.String("author"))
	if author == "" {
		author = catalog.DefaultAuthor()
	}
	store.SignAs(author, sync.OnceValue(deviceID))
	return store
}

// likely returns the catalogs that may be meant if none has a similar name: the
// default one; if that is missing, those in this folder and one folder below.
func likely(missing string) []string {
	if usual := defaultCatalog(); usual != missing {
		if _, err := os.Stat(usual); err == nil {
			return []string{usual}
		}
	}
	here := catalog.Beside(".")
	entries, _ := os.ReadDir(".")
	for _, entry := range entries {
		if entry.IsDir() {
			here = append(here, catalog.Beside(entry.Name())...)
		}
	}
	return here[:min(len(here), 3)]
}

// closing closes a catalog and returns the first error.
func closing(store *catalog.Store, err error) error {
	if cerr := store.Close(); err == nil {
		err = cerr
	}
	return err
}

// catalogPath returns the path of the catalog that the command line names.
func catalogPath(c *cli.Context) string {
	if path := c.String("catalog"); path != "" {
		return path
	}
	return defaultCatalog()
}

// knownShow returns the address of the show that was asked for, "" for "". A show
// that is not in the catalog is an error.
func knownShow(ctx context.Context, store *catalog.Store, asked catalog.ShowKey) (catalog.ShowKey, error) {
	if asked == "" {
		return "", nil
	}
	show, err := store.Show(ctx, asked)
	return show.Key, err
}

// knownNames checks the names in options: a channel and a rig that nothing has
// are errors, not empty lists.
func knownNames(c *cli.Context, store *catalog.Store) error {
	if channel := c.String("channel"); channel != "" {
		if err := store.KnowsChannel(c.Context, channel); err != nil {
			return err
		}
	}
	if rig := c.String("rig"); rig != "" && c.IsSet("rig") {
		return store.KnowsRig(c.Context, rig)
	}
	return nil
}

// state is a set of shows with their verdicts.
type state struct {
	shows    []catalog.Show
	verdicts []verdict.Loaded // of each
}

// stateOf returns a show with its verdict, or all for "".
func stateOf(ctx context.Context, store *catalog.Store, show catalog.ShowKey) (s state, err error) {
	if s.shows, err = store.Shows(ctx, catalog.ShowFilter{Show: show}); err == nil {
		s.verdicts, err = verdict.Load(ctx, store, s.shows, false)
	}
	return s, err
}

// unknown returns a sentence for each show that is not wholly read and judged.
func (s state) unknown() []string {
	lines := []string{}
	if len(s.shows) == 0 {
		lines = append(lines, "no show was scanned yet")
	}
	for i, v := range s.verdicts {
		if !v.Known() {
			lines = append(lines, fmt.Sprintf("%s: %s", s.shows[i].Key, v.Text()))
		}
	}
	return lines
}

// mind warns on standard error about shows that are not read or not judged: a list
// lacks what is not known yet about these shows.
func (e *env) mind(s state) {
	if len(s.shows) == 0 {
		return // an empty list says so itself
	}
	for i, v := range s.verdicts {
		switch {
		case len(v.NotJudged) > 0:
			e.warn("%s: %s", s.shows[i].Key, v.Text())
		case v.Answer == verdict.NotRead:
			e.warn("%s: %s; nightreel scan DIR goes on from there", s.shows[i].Key, v.Text())
		case v.Answer == verdict.Unsettled:
			e.warn("%s: %s; nightreel refresh brings them up to date", s.shows[i].Key, v.Text())
		}
	}
}

// sayNotJudged prints on standard error what the developers need to know about judges that
// failed.
func (e *env) sayNotJudged(s state, version string) {
	for i, v := range s.verdicts {
		if len(v.NotJudged) == 0 {
			continue
		}
		e.say("To report this error in nightreel, send us these lines:")
		e.say("  nightreel version %s, show %s", version, s.shows[i].Key)
		for _, n := range v.NotJudged {
			for _, line := range n.Report() {
				e.say("  rig %s, %s", n.Rig, line)
			}
		}
	}
}

// empty says on standard error why a list has nothing in it: nothing was scanned, or
// the reason given.
func (e *env) empty(store *catalog.Store, s state, otherwise string, args ...any) {
	switch {
	case len(s.shows) == 0:
		e.say("no shows yet in %s; nightreel scan DIR reads the recordings below a folder", store.Path())
	default:
		e.say(otherwise, args...)
	}
}

// asked words the options that chose what a list shows: " of song X on 2031-05-02
// with channel Y"; "" for none.
func asked(c *cli.Context) string {
	text := ""
	for _, o := range []struct{ option, before string }{{"kind", " of kind "}, {"song", " of "}, {"show", " on "}, {"channel", " with channel "}, {"rig", " on rig "}} {
		if value := c.String(o.option); value != "" && c.IsSet(o.option) {
			text += o.before + value
		}
	}
	return text
}

// withShow opens the catalog and calls f with the one show that the command names.
func (e *env) withShow(c *cli.Context, f func(store *catalog.Store, show catalog.ShowKey) error) error {
	if err := addressed(c, "show", "one show"); err != nil {
		return err
	}
	day, err := neededShow(c)
	if err != nil {
		return err
	}
	return e.withStore(c, func(store *catalog.Store) error {
		show, err := knownShow(c.Context, store, day)
		if err != nil {
			return err
		}
		return f(store, show)
	})
}
