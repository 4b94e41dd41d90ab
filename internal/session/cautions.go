package session

import "slices"

// Caution is a text that a person reads and follows before sound comes. Its name
// identifies it in a list of ticks.
type Caution struct{ Name, Text string }

// Unticked returns the first caution whose name is not among the ticks; ok is
// true if all are.
func Unticked(ticks []string) (c Caution, ok bool) {
	for _, c := range Cautions() {
		if !slices.Contains(ticks, c.Name) {
			return c, false
		}
	}
	return Caution{}, true
}

// Cautions returns the warnings to read before inputs are switched to playback,
// in the order of the afternoon. All texts live here.
//
// Figures: NIOSH publication 98-126 (recommended exposure limit, 3 dB exchange
// rate), Directive 2003/10/EC Article 3, WHO global standard for safe listening
// venues and events (2022). They are quoted from secondary sources. The rest is
// common practice, no source.
func Cautions() []Caution {
	return []Caution{
		{"mute", "Mute first: PA, subs, fills, monitor wedges, side fills, in-ear mixes, and the feeds to broadcast, recording and neighbours. Playback carries full show level on every input at once."},
		{"stage", "Clear the stage: nobody on it, nobody close to a loudspeaker, nobody wearing in-ears. Tell everybody in the room before sound comes. Inputs left on the stage are live and can feed back."},
		{"slowly", "Bring up slowly: level all the way down, one quiet input first, see that it arrives where the patch says, then raise. Keep a hand on the mute."},
		{"hearing", "Mind your hearing: NIOSH (98-126) recommends at most 85 dBA for 8 hours and half the time for every 3 dB more: 94 dBA for 1 hour, 100 dBA for 15 minutes. Directive 2003/10/EC sets the upper action value at 85 dB(A) over 8 hours or 137 dB(C) peak, the limit at 87 dB(A) or 140 dB(C). WHO (2022) asks venues to stay below 100 dB LAeq over 15 minutes. nightreel measures no sound pressure: use a sound level meter."},
		{"back", "Back to the stage before doors: switch every input back, tick each on the list, and hear each one live. An input left on playback is a dead microphone in the show."},
		{"local", "Local rules come first: the venue's rules, the law, and licensed or competent persons for power, rigging, sound exposure and safety. nightreel replaces none of them."},
	}
}

// cautionTexts are the texts alone, as they are printed.
func cautionTexts() []string {
	texts := []string{}
	for _, c := range Cautions() {
		texts = append(texts, c.Text)
	}
	return texts
}
