package findings

import (
	"cmp"
	"fmt"
	"path"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/evidence"
	"nightreel/internal/stats"
)

// fileLimits are the thresholds of tracks and files that are missing, short or torn.
var fileLimits = struct {
	// ShortS is how much earlier than the others a track must end, or start, to be short:
	// recorders close their files within a second (common practice).
	ShortS float64 `unit:"s" source:"chosen"`

	// HoleS is the shortest piece missing between two files that is reported. What is less
	// comes from time stamps that are only as fine as a second.
	HoleS float64 `unit:"s" source:"chosen"`

	// SpareNights: if at least so many other nights were recorded, and none has a line of the
	// input list, the tour is recorded without that line (common practice).
	SpareNights int `unit:"nights" source:"chosen"`
}{
	ShortS:      3,
	HoleS:       1.5,
	SpareNights: 2,
}

// lost returns the lines of the input list that were not recorded.
func lost(n *known) []catalog.Input {
	if len(n.Tracks) == 0 || n.Elsewhere == nil {
		return nil
	}
	recorded := map[int]bool{}
	listed := false
	for _, t := range n.Tracks {
		recorded[evidence.ListLine(t.Track)] = true
		listed = listed || t.Input.Track != 0 && !t.Apart
	}
	if !listed {
		return nil // the list is not about this rig: a recorder in the lobby
	}
	var lost []catalog.Input
	for _, in := range n.Inputs {
		if !recorded[in.Track] && !n.Elsewhere[in.Track] {
			lost = append(lost, in)
		}
	}
	return lost
}

// missing tells of the lines of the input list that were not recorded.
func missing(n *known) []catalog.Finding {
	lost := lost(n)
	severity := func(in catalog.Input) catalog.Severity {
		switch {
		case n.Usual[catalog.Key(in.Channel)] > 0:
			return catalog.FaultSeverity
		case n.Others >= fileLimits.SpareNights:
			return catalog.NoteSeverity // it is never recorded, whether that is meant or not
		}
		return catalog.WarningSeverity // the list has it, and nothing says that it may be missing
	}
	total := n.Seconds(n.Frames)
	if len(lost) > maxEach {
		worst := severity(lost[0])
		for _, in := range lost[1:] {
			if s := severity(in); slices.Index(severities, s) < slices.Index(severities, worst) {
				worst = s
			}
		}
		return []catalog.Finding{{
			Kind: catalog.MissingTrack, EndFrame: n.Frames, Severity: worst,
			Evidence: catalog.Evidence{"tracks": float64(len(lost)), "first_track": float64(lost[0].Track), "last_track": float64(lost[len(lost)-1].Track), "missing_s": total},
			Text: fmt.Sprintf("%d lines of the input list, from track %d (%s) to track %d (%s), have no track in this recording: arm them, or import an input list for this rig that leaves them out.",
				len(lost), lost[0].Track, lost[0].Channel, lost[len(lost)-1].Track, lost[len(lost)-1].Channel),
		}}
	}
	var found []catalog.Finding
	for _, in := range lost {
		found = append(found, catalog.Finding{
			Track: in.Track, Kind: catalog.MissingTrack, EndFrame: n.Frames, Severity: severity(in),
			Evidence: catalog.Evidence{"tracks": 1, "first_track": float64(in.Track), "last_track": float64(in.Track), "missing_s": total},
			Text:     missingText(n, in, severity(in)),
		})
	}
	return found
}

func missingText(n *known, in catalog.Input, severity catalog.Severity) string {
	if severity == catalog.NoteSeverity {
		return fmt.Sprintf("%s (track %d of the input list) was not recorded, nor was it on any of %d other nights: arm the track, or leave it out of this rig's input list.",
			in.Channel, in.Track, n.Others)
	}
	return fmt.Sprintf("%s (track %d of the input list) was not recorded: look whether its file is still on the recorder's drive, and arm the track before the next show.",
		in.Channel, in.Track)
}

// short finds the tracks that end well before the others. The others are the
// middle one, so that a single track left running makes no other one short.
func short(n *known) []catalog.Finding {
	if len(n.Tracks) < 2 {
		return nil
	}
	var ends []int64
	for _, t := range n.Tracks {
		ends = append(ends, t.Frames)
	}
	middle := stats.Nth(ends, len(ends)/2) // one of them: a track that was left running is no half
	var found []catalog.Finding
	for _, t := range n.Tracks {
		lost := n.Seconds(middle - t.Frames)
		if lost < fileLimits.ShortS {
			continue
		}
		found = append(found, catalog.Finding{
			Track: t.Number, Kind: catalog.ShortTrack, StartFrame: t.Frames, EndFrame: middle, Severity: catalog.FaultSeverity,
			Evidence: catalog.Evidence{"missing_s": lost, "ends_s": n.Seconds(t.Frames), "others_end_s": n.Seconds(middle)},
			Text: fmt.Sprintf("%s ends at %s, %s before the other tracks: look for its last file on the recorder's drive, or take the rest from another rig.",
				t.Channel, n.clock(t.Frames), length(lost)),
		})
	}
	return found
}

// hole is a piece missing from the tracks of one file.
type hole struct {
	firstTrack, channels int
	start, end           int64
	next                 string // path of the file after it
}

// findHoles compares where each file ends with where the next one starts, and
// where the first one does with the recording's start.
func findHoles(n *known) []hole {
	byTracks := map[[2]int][]catalog.File{}
	var keys [][2]int
	for _, f := range n.Files {
		k := [2]int{f.FirstTrack, f.Channels}
		if byTracks[k] == nil {
			keys = append(keys, k)
		}
		byTracks[k] = append(byTracks[k], f)
	}
	var found []hole
	for _, k := range keys {
		files := byTracks[k]
		slices.SortFunc(files, func(a, b catalog.File) int { return cmp.Compare(a.StartFrame, b.StartFrame) })
		var end int64
		for i, f := range files {
			least := fileLimits.HoleS
			if i == 0 {
				least = fileLimits.ShortS
			}
			if n.Seconds(f.StartFrame-end) >= least {
				found = append(found, hole{k[0], k[1], end, f.StartFrame, f.Path})
			}
			end = max(end, f.StartFrame+f.Frames)
		}
	}
	return found
}

// inHole reports whether a span of a track was not recorded at all.
func inHole(holes []hole, t *evidence.Track, start, end int64) bool {
	for _, h := range holes {
		if t.Number >= h.firstTrack && t.Number < h.firstTrack+h.channels && start < h.end && end > h.start {
			return true
		}
	}
	return false
}

// holes tells of missing pieces, of one at the same place on many tracks once.
func holes(n *known) []catalog.Finding {
	all := findHoles(n)
	slices.SortStableFunc(all, func(a, b hole) int { return cmp.Compare(a.start, b.start) })
	var found []catalog.Finding
	for from := 0; from < len(all); {
		to, tracks := from, 0
		for to < len(all) && n.Seconds(all[to].start-all[from].start) < fileLimits.ShortS {
			tracks += all[to].channels
			to++
		}
		group := all[from:to]
		if len(group) > maxEach {
			group = []hole{{channels: tracks, start: group[0].start, end: group[0].end, next: group[0].next}}
		}
		for _, h := range group {
			found = append(found, holeFinding(n, h))
		}
		from = to
	}
	return found
}

func holeFinding(n *known, h hole) catalog.Finding {
	who, track := fmt.Sprintf("%d tracks", h.channels), 0
	if h.channels == 1 && h.firstTrack > 0 {
		who, track = n.channel(h.firstTrack), h.firstTrack
	}
	lost := n.Seconds(h.end - h.start)
	what := fmt.Sprintf("miss %s from %s on, up to the file %s", length(lost), n.clock(h.start), path.Base(h.next))
	if track > 0 {
		what = "misses" + strings.TrimPrefix(what, "miss")
	}
	return catalog.Finding{
		Track: track, Kind: catalog.ShortTrack, StartFrame: h.start, EndFrame: h.end, Severity: catalog.FaultSeverity,
		Evidence: catalog.Evidence{"missing_s": lost, "tracks": float64(h.channels)},
		Text:     fmt.Sprintf("%s %s: look for the file in between on the recorder's drive.", who, what),
	}
}

// channel names a track by its number.
func (n *known) channel(number int) string {
	for _, t := range n.Tracks {
		if t.Number == number {
			return t.Channel
		}
	}
	return fmt.Sprintf("Track %d", number)
}

// unfinished tells of files whose header was never finished.
func unfinished(n *known) []catalog.Finding {
	var files []catalog.File
	for _, f := range n.Files {
		if f.Unfinished {
			files = append(files, f)
		}
	}
	if len(files) > maxEach {
		f := unfinishedFinding(n, files[0])
		f.Track, f.StartFrame, f.EndFrame = 0, files[0].StartFrame, 0
		var repairs float64
		for _, file := range files {
			f.StartFrame = min(f.StartFrame, file.StartFrame)
			f.EndFrame = max(f.EndFrame, file.StartFrame+file.Frames)
			repairs += float64(len(file.Repairs))
		}
		f.Evidence = catalog.Evidence{"files": float64(len(files)), "repairs": repairs, "read_s": n.Seconds(f.EndFrame - f.StartFrame)}
		f.Text = fmt.Sprintf("%d files, %s and others, were never closed, as after a power cut: all that is in them was read; listen to their last seconds and keep the originals.",
			len(files), path.Base(files[0].Path))
		return []catalog.Finding{f}
	}
	var found []catalog.Finding
	for _, f := range files {
		found = append(found, unfinishedFinding(n, f))
	}
	return found
}

func unfinishedFinding(n *known, f catalog.File) catalog.Finding {
	who, track := fmt.Sprintf("tracks %d to %d", f.FirstTrack, f.FirstTrack+f.Channels-1), 0
	if f.Channels == 1 {
		who, track = n.channel(f.FirstTrack), f.FirstTrack
	}
	e := catalog.Evidence{"files": 1, "repairs": float64(len(f.Repairs)), "read_s": n.Seconds(f.Frames)}
	if len(f.Repairs) > 0 {
		e["first_repair_offset_bytes"] = float64(f.Repairs[0].Offset)
	}
	return catalog.Finding{
		Track: track, Kind: catalog.UnfinishedFile, StartFrame: f.StartFrame, EndFrame: f.StartFrame + f.Frames, Severity: catalog.WarningSeverity,
		Evidence: e,
		Text: fmt.Sprintf("The file %s (%s) was never closed, as after a power cut: all that is in it was read, up to %s; listen to its last seconds and keep the original.",
			path.Base(f.Path), who, n.clock(f.StartFrame+f.Frames)),
	}
}
