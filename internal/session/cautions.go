package session

// Cautions returns what has to be said before inputs are switched to playback,
// in the order of the afternoon. It is the one place where these texts live.
//
// Figures: NIOSH publication 98-126 (recommended exposure limit, 3 dB exchange
// rate), Directive 2003/10/EC Article 3, WHO global standard for safe listening
// venues and events (2022). They are quoted from secondary sources. The rest is
// common practice, no source.
func Cautions() []string {
	return []string{
		"Mute first: PA, subs, fills, monitor wedges, side fills, in-ear mixes, and the feeds to broadcast, recording and neighbours. Playback carries full show level on every input at once.",
		"Clear the stage: nobody on it, nobody close to a loudspeaker, nobody wearing in-ears. Tell everybody in the room before sound comes. Inputs left on the stage are live and can feed back.",
		"Bring up slowly: level all the way down, one quiet input first, see that it arrives where the patch says, then raise. Keep a hand on the mute.",
		"Mind your hearing: NIOSH (98-126) recommends at most 85 dBA for 8 hours and half the time for every 3 dB more: 94 dBA for 1 hour, 100 dBA for 15 minutes. Directive 2003/10/EC sets the upper action value at 85 dB(A) over 8 hours or 137 dB(C) peak, the limit at 87 dB(A) or 140 dB(C). WHO (2022) asks venues to stay below 100 dB LAeq over 15 minutes. nightreel measures no sound pressure: use a sound level meter.",
		"Back to the stage before doors: switch every input back, tick each on the list, hear each one live, and sign. An input left on playback is a dead microphone in the show.",
		"Local rules come first: the venue's rules, the law, and licensed or competent persons for power, rigging, sound exposure and safety. This sheet replaces none of them.",
	}
}
