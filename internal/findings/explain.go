package findings

import (
	"slices"

	"nightreel/catalog"
)

// explanation says that a finding of one kind is left out where one of another kind
// already says what happened.
type explanation struct {
	kind, by catalog.FindingKind
	when     func(n *known, f, by catalog.Finding) bool
	why      string
}

// explanations is who explains whom. Every row looks at all findings of all judges: what
// is explained itself still explains others.
var explanations = []explanation{
	{catalog.Dropout, catalog.Crackle, during, "a contact that opens leaves zeros"},

	{catalog.Dead, catalog.Swapped, ofPair, "the line that was exchanged had nothing to play"},
	{catalog.WentSilent, catalog.Swapped, ofPair, "the line that was exchanged had nothing to play"},
	{catalog.Dead, catalog.Duplicate, unlessBothRest, "the signal's own source had nothing to play"},
	{catalog.WentSilent, catalog.Duplicate, unlessBothRest, "the signal's own source had nothing to play"},

	{catalog.GainChange, catalog.Swapped, allNightOfPair, "the other line's preamp has its own gain"},
	{catalog.GainChange, catalog.Duplicate, ofPair, "a copy has no gain of its own, and which of the two is the copy is not known"},
	{catalog.GainChange, catalog.Dead, onSameTrack, "a silence is no gain that was turned"},
	{catalog.GainChange, catalog.WentSilent, onSameTrack, "a silence is no gain that was turned"},

	{catalog.Swapped, catalog.Swapped, onLaterShow, "of two shows that differ the later one reports it, so that it is reported once"},
}

// unexplained leaves out the findings that others explain.
func unexplained(n *known, all []catalog.Finding) []catalog.Finding {
	var kept []catalog.Finding
	for _, f := range all {
		if !explained(n, f, all) {
			kept = append(kept, f)
		}
	}
	return kept
}

// explained reports whether one of all findings explains a finding.
func explained(n *known, f catalog.Finding, all []catalog.Finding) bool {
	return slices.ContainsFunc(explanations, func(row explanation) bool {
		return f.Kind == row.kind && slices.ContainsFunc(all, func(by catalog.Finding) bool {
			return by.Kind == row.by && row.when(n, f, by)
		})
	})
}

// onSameTrack reports whether both findings are about one track.
func onSameTrack(_ *known, f, by catalog.Finding) bool { return f.Track == by.Track }

// during reports whether a finding lies within another one on the same track.
func during(_ *known, f, by catalog.Finding) bool {
	return f.Track == by.Track && f.Track != 0 && f.StartFrame >= by.StartFrame && f.EndFrame <= by.EndFrame
}

// ofPair reports whether a finding is about either track of a pair.
func ofPair(_ *known, f, by catalog.Finding) bool {
	return f.Track == by.Track || f.Track == by.Partner()
}

// allNightOfPair is ofPair for what holds all night, not from a moment on.
func allNightOfPair(n *known, f, by catalog.Finding) bool {
	return f.EndFrame > f.StartFrame && ofPair(n, f, by)
}

// unlessBothRest is ofPair, but where both tracks of a pair that carries one signal
// are silent at that time, it leaves one of the two silences.
func unlessBothRest(n *known, f, by catalog.Finding) bool {
	return f.Track == by.Track || f.Track == by.Partner() && !covered(n.silences(), by.Track, f.StartFrame, f.EndFrame)
}

// onLaterShow reports whether the only other show is a later one.
func onLaterShow(n *known, f, by catalog.Finding) bool {
	return f.Track == by.Track && len(n.Tour) == 1 && showOf(n.Tour[0]) > showOf(n.Sound)
}
