package verdict_test

import (
	"slices"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/verdict"
)

func TestVerdict(t *testing.T) {
	read := func(files, of, tracks, ofTracks int) catalog.ReadState {
		return catalog.ReadState{Files: of, FilesRead: files, Tracks: ofTracks, TracksRead: tracks}
	}
	all := read(192, 192, 64, 64)
	main := func(r catalog.ReadState, open ...catalog.FindingKind) verdict.Recording {
		return verdict.Recording{Rig: "main", Read: r, Open: open}
	}
	backup := func(r catalog.ReadState, open ...catalog.FindingKind) verdict.Recording {
		return verdict.Recording{Rig: "backup", Read: r, Open: open}
	}
	changed := main(all)
	changed.Changed = 2
	for name, c := range map[string]struct {
		recordings []verdict.Recording
		unjudged   bool
		working    bool
		answer     verdict.Answer
		text       string
	}{
		"nothing was scanned":    {nil, false, false, verdict.NotRead, "not read yet: no recording was scanned"},
		"all read, nothing open": {[]verdict.Recording{main(all)}, false, false, verdict.Whole, "whole"},
		"nothing read":           {[]verdict.Recording{main(read(0, 192, 0, 64))}, false, false, verdict.NotRead, "not read yet: 0 of 192 files"},
		"a scan stopped early":   {[]verdict.Recording{main(read(4, 192, 0, 64))}, false, false, verdict.NotRead, "read in part: 4 of 192 files"},
		// Near misses of whole.
		"one file is missing":                     {[]verdict.Recording{main(read(191, 192, 64, 64))}, false, false, verdict.NotRead, "read in part: 191 of 192 files"},
		"all files are read, a minute is missing": {[]verdict.Recording{main(read(192, 192, 63, 64))}, false, false, verdict.NotRead, "read in part: 63 of 64 tracks"},
		"the other rig is not read":               {[]verdict.Recording{main(all), backup(read(0, 8, 0, 8))}, false, false, verdict.NotRead, "read in part: 192 of 200 files"},
		"one file of one":                         {[]verdict.Recording{main(read(0, 1, 0, 64))}, false, false, verdict.NotRead, "not read yet: 0 of 1 file"},
		"a recording of no file and no track":     {[]verdict.Recording{main(all), backup(catalog.ReadState{})}, false, false, verdict.NotRead, "not read yet: a recording without files"},
		"what was found so far is said":           {[]verdict.Recording{main(read(4, 192, 0, 64), catalog.MissingTrack)}, false, false, verdict.NotRead, "read in part: 4 of 192 files; so far: a track is missing"},
		// What keeps a show from being whole, and what does not.
		"a dropout":                       {[]verdict.Recording{main(all, catalog.Dropout, catalog.Dropout)}, false, false, verdict.NotWhole, "not whole: dropouts"},
		"several reasons":                 {[]verdict.Recording{main(all, catalog.Dropout, catalog.ShortTrack, catalog.UnfinishedFile, catalog.MissingTrack)}, false, false, verdict.NotWhole, "not whole: a track is missing, a track is short, a file was never finished, dropouts"},
		"a clipped and a dead channel":    {[]verdict.Recording{main(all, catalog.Clipped, catalog.Dead, catalog.WentSilent, catalog.Hum)}, false, false, verdict.Whole, "whole"},
		"two rigs, one of them short":     {[]verdict.Recording{main(all), backup(all, catalog.ShortTrack)}, false, false, verdict.NotWhole, "not whole: a track is short (rig backup)"},
		"two rigs, both short":            {[]verdict.Recording{main(all, catalog.ShortTrack), backup(all, catalog.ShortTrack)}, false, false, verdict.NotWhole, "not whole: a track is short (rig main, backup)"},
		"two files changed":               {[]verdict.Recording{changed}, false, false, verdict.NotWhole, "not whole: 2 files changed after the scan"},
		"read, not judged":                {[]verdict.Recording{main(all)}, true, false, verdict.Unsettled, "not judged yet: songs and findings are not up to date"},
		"read, being judged":              {[]verdict.Recording{main(all)}, false, true, verdict.Unsettled, "not judged yet: songs and findings are being worked out"},
		"not judged, with what was found": {[]verdict.Recording{main(all, catalog.Dropout)}, true, false, verdict.Unsettled, "not judged yet: songs and findings are not up to date; so far: dropouts"},
		"half read and not judged either": {[]verdict.Recording{main(read(4, 192, 0, 64))}, true, true, verdict.NotRead, "read in part: 4 of 192 files"},
	} {
		v := verdict.Of(verdict.Input{Recordings: c.recordings, Judged: !c.unjudged, Working: c.working})
		if v.Answer != c.answer || v.Text() != c.text {
			t.Errorf("%s: %s, %q; want %s, %q", name, v.Answer, v.Text(), c.answer, c.text)
		}
		if known := c.answer == verdict.Whole || c.answer == verdict.NotWhole; v.Known() != known {
			t.Errorf("%s: known %v", name, v.Known())
		}
		if v.Answer == verdict.Whole && len(v.Reasons) > 0 {
			t.Errorf("%s: whole, with reasons %v", name, v.Reasons)
		}
	}
}

// A show with a judge that failed is known in part: it is never whole, the answer names
// the kinds of findings that are not known, and what is known of it stands beside them.
func TestShowWithAFailedJudgeIsNotJudgedInPart(t *testing.T) {
	read := catalog.ReadState{Files: 1, FilesRead: 1, Tracks: 1, TracksRead: 1}
	rig := func(name string, open ...catalog.FindingKind) verdict.Recording {
		return verdict.Recording{Rig: name, Read: read, Open: open}
	}
	failed := func(rig string, kinds ...catalog.FindingKind) catalog.NotJudged {
		return catalog.NotJudged{Rig: rig, Judge: "x", Kinds: kinds}
	}
	const why = ", because of an error in nightreel; nightreel findings prints what to send us"
	for name, c := range map[string]struct {
		in   verdict.Input
		text string
	}{
		"one judge": {verdict.Input{Judged: true, Recordings: []verdict.Recording{rig("main")}, NotJudged: []catalog.NotJudged{failed("main", catalog.Dead, catalog.WentSilent)}},
			"not judged in part: dead, went silent" + why},
		"a judge on one of two rigs": {verdict.Input{Judged: true, Recordings: []verdict.Recording{rig("main"), rig("backup")}, NotJudged: []catalog.NotJudged{failed("backup", catalog.Hum)}},
			"not judged in part: hum on rig backup" + why},
		"a judge, and a track is missing": {verdict.Input{Judged: true, Recordings: []verdict.Recording{rig("main", catalog.MissingTrack)}, NotJudged: []catalog.NotJudged{failed("main", catalog.Hum)}},
			"not judged in part: hum" + why + "; so far: a track is missing"},
		"all judges": {verdict.Input{Judged: true, Recordings: []verdict.Recording{rig("main")}, NotJudged: []catalog.NotJudged{failed("main", catalog.Dead, catalog.Hum, catalog.Clipped, catalog.Polarity, catalog.Dropout, catalog.Swapped, catalog.Crackle)}},
			"not judged in part: 7 kinds of findings" + why},
		"a judge, before a fact changed": {verdict.Input{Recordings: []verdict.Recording{rig("main")}, NotJudged: []catalog.NotJudged{failed("main", catalog.Hum)}},
			"not judged yet: songs and findings are not up to date"},
	} {
		v := verdict.Of(c.in)
		if v.Answer != verdict.Unsettled || v.Known() || v.Text() != c.text {
			t.Errorf("%s: %s, %q; want %q", name, v.Answer, v.Text(), c.text)
		}
		if v.Sign() != (verdict.Verdict{Answer: verdict.Unsettled}).Sign() {
			t.Errorf("%s: sign %s", name, v.Sign())
		}
	}
}

func TestEachAnswerHasASignOfItsOwn(t *testing.T) {
	signs := []string{verdict.Verdict{Answer: verdict.Unsettled, Working: true}.Sign()}
	for _, a := range []verdict.Answer{verdict.Whole, verdict.NotWhole, verdict.NotRead, verdict.Unsettled} {
		signs = append(signs, verdict.Verdict{Answer: a}.Sign())
	}
	slices.Sort(signs)
	if len(slices.Compact(signs)) != 5 || slices.Contains(signs, "") {
		t.Errorf("signs are %q", signs)
	}
}
