// Package verdict answers one question about a show: is it whole? The answer is
// [NotRead], [Unsettled], [Whole] or [NotWhole], with the reasons in words. Start
// with [Of], which is a function of its input alone; [Load] fetches that input
// from the catalog.
//
// What is not known never counts as whole: a show of which one file was not read
// is not read yet.
package verdict

import (
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
)

// Answer is what became of a show. Scripts rely on these words.
type Answer string

// The answers. An answer "whole with the other rig" is to come.
const (
	NotRead   Answer = "not_read"   // files are not read to their end
	Unsettled Answer = "not_judged" // all was read; findings are not up to date, or a judge failed
	Whole     Answer = "whole"      // recorded to the end on every track
	NotWhole  Answer = "not_whole"  // something is missing, see the reasons
)

// Recording is one rig's capture as far as the verdict needs it.
type Recording struct {
	Rig  string
	Read catalog.ReadState
	// Open are the kinds of the findings that are not accepted.
	Open []catalog.FindingKind
	// Changed is how many files changed after they were measured and were not
	// accepted since.
	Changed int
}

// Input is what is known of a show.
type Input struct {
	Recordings []Recording
	Judged     bool // the findings are of what was read and entered last
	Working    bool // a refresh is working them out
	// NotJudged is what judges that failed left unknown when the findings were made.
	NotJudged []catalog.NotJudged
}

// Verdict is the answer with its reasons.
type Verdict struct {
	Answer  Answer            `json:"verdict"`
	Read    catalog.ReadState `json:"read_state"` // of all recordings together
	Reasons []string          `json:"reasons"`    // in words, each once; empty for a whole show
	// Working says that a refresh is working the answer out.
	Working bool `json:"-"`
	// NotJudged is what judges that failed left unknown: a refresh does not mend it.
	NotJudged []catalog.NotJudged `json:"-"`
}

// wholeness gives the words for the findings that keep a recording from being
// whole. What only sounds wrong (hum, clipping, a dead line) does not: every
// sample of it was recorded.
var wholeness = []struct {
	kind  catalog.FindingKind
	words string
}{
	{catalog.MissingTrack, "a track is missing"},
	{catalog.ShortTrack, "a track is short"},
	{catalog.UnfinishedFile, "a file was never finished"},
	{catalog.Dropout, "dropouts"},
}

// Of returns the verdict on a show.
func Of(in Input) Verdict {
	v := Verdict{Answer: Whole, Reasons: []string{}}
	unread := false
	for _, r := range in.Recordings {
		v.Read = v.Read.Add(r.Read)
		unread = unread || !r.Read.Whole()
	}
	rig := func(r Recording) string {
		if len(in.Recordings) > 1 {
			return " on rig " + r.Rig
		}
		return ""
	}
	for _, w := range wholeness {
		where := []string{}
		for _, r := range in.Recordings {
			if slices.Contains(r.Open, w.kind) {
				where = append(where, r.Rig)
			}
		}
		if len(where) > 0 {
			text := w.words
			if len(in.Recordings) > 1 {
				text += " (rig " + strings.Join(where, ", ") + ")"
			}
			v.Reasons = append(v.Reasons, text)
		}
	}
	for _, r := range in.Recordings {
		if r.Changed > 0 {
			v.Reasons = append(v.Reasons, fmt.Sprintf("%s changed after the scan%s", count(r.Changed, "file"), rig(r)))
		}
	}
	switch {
	case len(in.Recordings) == 0:
		v.Answer, v.Reasons = NotRead, []string{"no recording was scanned"}
	case unread:
		v.Answer = NotRead
	case !in.Judged || in.Working:
		v.Answer, v.Working = Unsettled, in.Working
		why := "songs and findings are not up to date"
		if in.Working {
			why = "songs and findings are being worked out"
		}
		v.Reasons = slices.Insert(v.Reasons, 0, why)
	case len(in.NotJudged) > 0:
		v.Answer, v.NotJudged = Unsettled, in.NotJudged
		v.Reasons = slices.Insert(v.Reasons, 0, whyNotJudged(in))
	case len(v.Reasons) > 0:
		v.Answer = NotWhole
	}
	return v
}

// whyNotJudged names the kinds of findings that are not known, and for what reason.
func whyNotJudged(in Input) string {
	var kinds []string
	for _, n := range in.NotJudged {
		for _, k := range n.Kinds {
			words := k.Words()
			if len(in.Recordings) > 1 {
				words += " on rig " + n.Rig
			}
			if !slices.Contains(kinds, words) {
				kinds = append(kinds, words)
			}
		}
	}
	what := strings.Join(kinds, ", ")
	if len(kinds) > mostKinds {
		what = fmt.Sprintf("%d kinds of findings", len(kinds))
	}
	return what + ", because of an error in nightreel; nightreel findings prints what to send us"
}

// mostKinds is how many kinds of findings a reason names.
const mostKinds = 6

// Known tells whether the show was wholly read and judged, so that a list of its
// findings that is empty means that there are none.
func (v Verdict) Known() bool { return v.Answer == Whole || v.Answer == NotWhole }

// Sign returns a shape for each answer, and one for an answer that is being worked
// out, so that colour alone distinguishes none of them.
func (v Verdict) Sign() string {
	if v.Working {
		return "↻"
	}
	return map[Answer]string{NotRead: "…", Unsettled: "○", Whole: "✓", NotWhole: "✕"}[v.Answer]
}

// Text is the answer in words, such as "not read yet: 4 of 192 files".
func (v Verdict) Text() string {
	reasons := strings.Join(v.Reasons, ", ")
	switch v.Answer {
	case Whole:
		return "whole"
	case NotWhole:
		return "not whole: " + reasons
	case Unsettled:
		text := "not judged yet: " + v.Reasons[0]
		if len(v.NotJudged) > 0 {
			text = "not judged in part: " + v.Reasons[0]
		}
		if sofar := v.Reasons[1:]; len(sofar) > 0 {
			text += "; so far: " + strings.Join(sofar, ", ")
		}
		return text
	}
	text := ReadText(v.Read)
	switch {
	case text == "" && reasons == "":
		return "not read yet: a recording without files"
	case text == "":
		return "not read yet: " + reasons
	case reasons != "":
		return text + "; so far: " + reasons
	}
	return text
}

// ReadText says how much was read, such as "not read yet: 0 of 192 files" or
// "read in part: 4 of 192 files"; "" if all was, and if there is nothing to read.
func ReadText(r catalog.ReadState) string {
	if r.Whole() || r.Files+r.Tracks == 0 {
		return ""
	}
	// Files are what a person can look for; where all of them are covered, a
	// minute of a track is what is missing.
	done, of, word := r.FilesRead, r.Files, "file"
	if r.FilesRead == r.Files {
		done, of, word = r.TracksRead, r.Tracks, "track"
	}
	begin := "not read yet"
	if done > 0 {
		begin = "read in part"
	}
	return fmt.Sprintf("%s: %d of %s", begin, done, count(of, word))
}

// count writes a number with its word in the right form.
func count(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
