package main

import (
	"encoding/json"
	"fmt"

	"github.com/urfave/cli/v2"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/verdict"
)

func (e *env) showsCommand() *cli.Command {
	return &cli.Command{
		Name:  "shows",
		Usage: "list the shows and their recordings, and correct what a scan made of them",
		Description: "A show's address is its date, with its name behind it where the date has several:\n" +
			"2031-08-01, or \"2031-08-01 matinee\". The show's positions count on the recording marked *.",
		Flags:       []cli.Flag{jsonFlag()},
		Subcommands: e.showCommands(),
		Action: func(c *cli.Context) error {
			return e.withStore(c, func(store *catalog.Store) error {
				s, err := stateOf(c.Context, store, "")
				if err != nil {
					return err
				}
				if len(s.shows) == 0 {
					e.empty(store, s, "")
				}
				if c.Bool("json") {
					return e.printJSON(showDocs(s))
				}
				return e.printShows(s)
			})
		},
	}
}

// showDoc is a show's document: what the catalog has of it, and what is known.
type showDoc struct {
	catalog.Show
	Recordings []recordingDoc `json:"recordings"`
	Files      int            `json:"files"`
	FilesRead  int            `json:"files_read"`
	Read       bool           `json:"read"` // all files, to their end
	Verdict    verdict.Answer `json:"verdict"`
	Reasons    []string       `json:"reasons"`
	// NotJudged is what judges that failed left unknown.
	NotJudged []catalog.NotJudged `json:"not_judged"`
}

// recordingDoc is a recording's document with how much of it was read.
type recordingDoc struct {
	catalog.Recording
	FilesRead  int
	TracksRead int
	Read       bool
}

// MarshalJSON adds the fields to the recording's own, which has a form of its
// own, too.
func (r recordingDoc) MarshalJSON() ([]byte, error) {
	own, err := json.Marshal(r.Recording)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(own[:len(own)-1], `,"files_read":%d,"tracks_read":%d,"read":%t}`, r.FilesRead, r.TracksRead, r.Read), nil
}

func showDocs(s state) []showDoc {
	docs := []showDoc{}
	for i, sh := range s.shows {
		v := s.verdicts[i]
		d := showDoc{Show: sh, Recordings: []recordingDoc{}, Files: v.Read.Files, FilesRead: v.Read.FilesRead, Read: v.Answer != verdict.NotRead, Verdict: v.Answer, Reasons: v.Reasons, NotJudged: append([]catalog.NotJudged{}, v.NotJudged...)}
		for _, r := range sh.Recordings {
			read := v.Reads[r.ID]
			d.Recordings = append(d.Recordings, recordingDoc{r, read.FilesRead, read.TracksRead, read.Whole()})
		}
		docs = append(docs, d)
	}
	return docs
}

// printShows prints the shows, and below the table why one is not whole.
func (e *env) printShows(s state) error {
	t := newTable("show", "venue", "verdict", ">id", "rig", "format", ">tracks", ">files", ">length", "starts", ">takes", ">findings")
	t.drop = []string{"starts", "format", "files", "takes", "tracks", "findings"}
	for i, sh := range s.shows {
		takes, findings := fmt.Sprint(sh.Takes), fmt.Sprint(sh.Findings)
		show, venue, word := string(sh.Key), sh.Venue, verdictWord(s.verdicts[i].Verdict)
		if venue == "" {
			venue = sh.Name
		}
		if len(sh.Recordings) == 0 {
			t.row(show, venue, word, "", "", "", "", "", "", "", takes, findings)
		}
		for _, r := range sh.Recordings {
			starts := ""
			if r.StartsAt != nil {
				starts = r.StartsAt.Format("15:04:05")
			}
			rig := r.Rig
			if r.Reference && len(sh.Recordings) > 1 {
				rig += " *"
			}
			t.row(show, venue, word, fmt.Sprint(r.ID), rig, format(r), fmt.Sprint(r.Tracks), fmt.Sprint(r.Files), catalog.Clock(r.Seconds(r.Frames)), starts, takes, findings)
			show, venue, word, takes, findings = "", "", "", "", "" // said once a show
		}
	}
	if err := e.printTable(t); err != nil {
		return err
	}
	first := true
	for i, v := range s.verdicts {
		if v.Answer == verdict.Whole {
			continue
		}
		if first {
			e.println("")
			first = false
		}
		if err := e.item(v.Sign()+" ", "%s: %s", s.shows[i].Key, v.Text()); err != nil {
			return err
		}
	}
	return nil
}

// verdictWord is a verdict in a table: its sign and a word; why stands below.
func verdictWord(v verdict.Verdict) string {
	return v.Sign() + " " + map[verdict.Answer]string{verdict.Whole: "whole", verdict.NotWhole: "not whole", verdict.NotRead: "not read", verdict.Unsettled: "not judged"}[v.Answer]
}

// format words how a recording's samples are coded, "48 kHz 24 bit".
func format(r catalog.Recording) string {
	text := fmt.Sprintf("%g kHz %d bit", float64(r.SampleRate)/1000, r.BitDepth)
	if r.Float() {
		text += " float"
	}
	return text
}

func (e *env) tracksCommand() *cli.Command {
	return &cli.Command{
		Name:      "tracks",
		Usage:     "list the tracks of a night with their figures",
		ArgsUsage: "SHOW",
		Flags:     []cli.Flag{showFlag("the show"), jsonFlag()},
		Action: func(c *cli.Context) error {
			return e.withShow(c, func(store *catalog.Store, show catalog.ShowKey) error {
				tracks, err := compare.Tracks(c.Context, store, show)
				if err != nil {
					return err
				}
				s, err := stateOf(c.Context, store, show)
				if err != nil {
					return err
				}
				e.mind(s)
				if c.Bool("json") {
					return e.printJSON(tracks)
				}
				t := newTable(append([]string{"rig", ">track", "channel", "recorded as", ">length"}, figureHeads...)...)
				t.same, t.drop = []string{"rig"}, figureDrop
				for _, tr := range tracks {
					t.row(append([]string{tr.Rig, fmt.Sprint(tr.Track), tr.Channel, tr.Name, catalog.Clock(tr.DurationS)}, figureCells(tr.Figures)...)...)
				}
				return e.printTable(t)
			})
		},
	}
}
