package web

import (
	"context"
	"net/http"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

// version returns the version of an answer: the number of changes so far of
// everything that it is made of. Counts only rise, so every change gives another
// version.
//
// routes.go lists beside each address what its page reads. A kind that is missing
// there leaves a page stale: TestNothingStale changes every kind and compares.
type version func(r *http.Request, c *catalog.Changes) int64

// of returns the version of an answer that is made of these kinds, of all nights.
func of(kinds ...catalog.About) version {
	return func(_ *http.Request, c *catalog.Changes) int64 { return count64(c, "", kinds) }
}

// ofNight returns the version of an answer that is made of these kinds of one night.
// Kinds that are not counted by night always count: they hold titles and names of
// channels. If the night is not known, all nights count.
func (s *Server) ofNight(night func(*http.Request) catalog.ShowKey, kinds ...catalog.About) version {
	common := []catalog.About{catalog.AboutShows, catalog.AboutSongs, catalog.AboutLists}
	return func(r *http.Request, c *catalog.Changes) int64 {
		return count64(c, "", common) + count64(c, night(r), kinds)
	}
}

func count64(c *catalog.Changes, show catalog.ShowKey, kinds []catalog.About) int64 {
	n := int64(0)
	for _, k := range kinds {
		n += c.Of(k, show)
	}
	return n
}

// judged is the version of an answer that holds verdicts. Whether one is up to date
// depends on the facts of all shows, and whether it is being worked out on the
// jobs of this server.
func (s *Server) judged(rest version) version {
	return func(r *http.Request, c *catalog.Changes) int64 {
		_, state, err := refresh.Current(r.Context(), s.store)
		if err != nil {
			s.log.Warn("could not tell whether results are up to date", "error", err) // the page itself says so
		}
		return rest(r, c) + c.Of(catalog.AboutFindings, "") + state + s.jobs.turns.Load()
	}
}

// state is a number that rises when pages may show something else: the catalog
// was changed, or its results became up to date.
func (s *Server) state(ctx context.Context) (int64, error) {
	version, err := s.watcher.Version(ctx)
	if err != nil {
		return 0, err
	}
	_, state, err := refresh.Current(ctx, s.store)
	return version + state, err
}

// nightInPath is the night that an address names.
func (s *Server) nightInPath(r *http.Request) catalog.ShowKey {
	date, err := s.pathDate(r)
	if err != nil {
		return ""
	}
	return date
}

// nightOfRecording is the night of the recording that an address names.
func (s *Server) nightOfRecording(r *http.Request) catalog.ShowKey {
	rec, err := s.recordingOf(r)
	if err != nil {
		return ""
	}
	return rec.Show
}

// nightOfFinding is the night of the finding that an address names.
func (s *Server) nightOfFinding(r *http.Request) catalog.ShowKey {
	id, err := number(r.PathValue("id"), "finding")
	if err != nil {
		return ""
	}
	findings, err := s.store.Findings(r.Context(), catalog.FindingFilter{ID: catalog.FindingID(id)})
	if err != nil || len(findings) == 0 {
		return ""
	}
	return findings[0].Show
}
