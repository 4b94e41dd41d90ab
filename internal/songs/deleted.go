package songs

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"nightreel/catalog"
)

// deletion is a take that a person took away. It is remembered as a note about
// the show, in a fixed form: so the team reads why a take is missing, and no
// finder brings it back.
type deletion struct {
	title        string
	nth          int
	startS, endS float64 // on the show's reference recording
}

const deletionPrefix = "deleted by hand: take "

func (d deletion) String() string {
	return fmt.Sprintf("%s%d of %q from %.1f s to %.1f s", deletionPrefix, d.nth, d.title, d.startS, d.endS)
}

// parseDeletion reads what String wrote.
func parseDeletion(text string) (d deletion, ok bool) {
	rest, ok := strings.CutPrefix(text, deletionPrefix)
	if !ok {
		return d, false
	}
	number, rest, ok := strings.Cut(rest, " of ")
	if !ok {
		return d, false
	}
	var err error
	if d.nth, err = strconv.Atoi(number); err != nil {
		return d, false
	}
	quoted, err := strconv.QuotedPrefix(rest)
	if err != nil {
		return d, false
	}
	if d.title, err = strconv.Unquote(quoted); err != nil {
		return d, false
	}
	_, err = fmt.Sscanf(rest[len(quoted):], " from %f s to %f s", &d.startS, &d.endS)
	return d, err == nil
}

// deletions returns what a person took away from a show, oldest first.
func deletions(ctx context.Context, store *catalog.Store, date catalog.Date) ([]deletion, error) {
	notes, err := store.Notes(ctx, date)
	if err != nil {
		return nil, err
	}
	all := []deletion{}
	for _, n := range notes {
		if d, ok := parseDeletion(n.Text); ok {
			all = append(all, d)
		}
	}
	return all, nil
}

// forbids tells whether a take may not come back: one that overlaps the
// deleted one by half of the shorter of the two, if it is of the same song, or
// if nothing but music speaks for it.
func (d deletion) forbids(title string, by catalog.FoundBy, startS, endS float64) bool {
	overlap := min(d.endS, endS) - max(d.startS, startS)
	return overlap >= 0.5*min(d.endS-d.startS, endS-startS) && (by == catalog.ByMusic || catalog.SameName(d.title, title))
}
