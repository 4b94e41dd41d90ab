package linecheck

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/stats"
)

// inputLimits are the thresholds of one input against the tour.
var inputLimits = struct {
	// AliveDB is how far above its own quiet level an input must rise to count as played; an
	// input below FaintDBFS was not played.
	AliveDB   float64 `unit:"dB" source:"chosen"`
	FaintDBFS float64 `unit:"dBFS" source:"chosen"`

	// FullDBFS is full scale: the highest positive sample of 16 bit lies 0.00027 dB below 0
	// dBFS (two's complement).
	FullDBFS float64 `unit:"dBFS" source:"standard"`

	// GainDB is the least difference from the tour at which a gain is suggested, and WildDB
	// the one that is no matter of taste (common practice).
	GainDB float64 `unit:"dB" source:"chosen"`
	WildDB float64 `unit:"dB" source:"chosen"`

	// SlackDB is how far outside the channel's range on the tour a level must lie: gains are
	// set again each night.
	SlackDB float64 `unit:"dB" source:"chosen"`

	// RestDB is how far the level of a song without a channel lies below that of songs with
	// it, and half of the range of such songs.
	RestDB float64 `unit:"dB" source:"chosen"`

	// SoftDB is how far a soft song lies below the others at most, if the channel plays in it
	// at all.
	SoftDB float64 `unit:"dB" source:"chosen"`

	// LeastS is how long an input must be played for a gain to be suggested.
	LeastS int `unit:"s" source:"chosen"`

	// AbsentDB is the difference below the tour from which a channel was more likely not
	// played than turned down: no gain is suggested.
	AbsentDB float64 `unit:"dB" source:"chosen"`
}{
	AliveDB:   10,
	FaintDBFS: -85,
	FullDBFS:  -0.0003,
	GainDB:    3,
	WildDB:    10,
	SlackDB:   1.5,
	RestDB:    3,
	SoftDB:    5,
	LeastS:    2,
	AbsentDB:  16,
}

// input compares one input with the tour, on its own, and returns its channel's
// usual level there.
func (t *tour) input(v *channelsound.Voice, peaks []float64, now timbre) (Input, heard) {
	in := Input{Track: v.Track.Number, Channel: v.Track.Channel, Status: OK, Text: []string{}}
	p := played(peaks)
	if p.level > channelsound.Silence {
		in.Level = rounded(p.level)
	}
	h := t.habitOf(v, max(1, p.span))
	in.Alive = alive(peaks)
	sounds := heard{now: now, usual: t.mannerOf(keyOf(v), h.between), everyone: t.inTurn && p.span > t.length/2}
	if h.nights > 0 {
		in.Usual = rounded(h.usual)
		// An input that plays all the time has no quiet of its own; use the
		// tour's.
		in.Alive = in.Alive || len(peaks) > 0 && slices.Max(peaks) > max(inputLimits.FaintDBFS, h.low-levelLimits.ActiveDB)
	}
	if in.Alive {
		in.Played = p.seconds
	}
	switch {
	case h.nights > 0 && t.atRest(p, h):
		in.Status = Unknown
		in.say("%s is no louder than in the tour's songs without it: play it at show level to check it.", in.Channel)
	case in.Alive && h.nights > 0:
		t.judgeLevel(&in, p, h, sounds.everyone)
		judgeTone(&in, p, &sounds)
	case in.Alive:
	case h.nights > 0:
		in.Status = Broken
		in.say("%s is dead: %s, and %.0f dBFS on the tour; check microphone, cable and patch.", in.Channel, dbfs(in.Level), h.usual)
	case h.had == 0:
		in.Status = Unknown
		in.say("%s carries only its noise floor, and no other night has it for comparison: play it; if nothing comes, check its cable.", in.Channel)
	}
	if in.Alive && slices.Max(peaks) >= inputLimits.FullDBFS {
		in.Status = worse(in.Status, Look)
		in.say("%s reaches full scale: it clips or is about to.", in.Channel)
	}
	sounds.alive = in.Alive
	return in, sounds
}

// alive reports whether an input rises from its own quiet level, be it for a
// second or for a click.
func alive(peaks []float64) bool {
	if len(peaks) == 0 {
		return false
	}
	loud := slices.Max(peaks)
	return loud > inputLimits.FaintDBFS && loud > stats.Percentile(peaks, 0.1)+inputLimits.AliveDB
}

// atRest reports whether an input may well not have been played: the band played
// a song, and the tour has songs without the channel in which its level is no
// higher. If the channel plays in every song of the tour, a low level means a
// low gain.
func (t *tour) atRest(p playing, h habit) bool {
	rests := h.least < h.low-inputLimits.RestDB && math.Abs(p.level-h.least) < 2*inputLimits.RestDB
	return !t.inTurn && p.level < h.low-inputLimits.RestDB && (h.between || rests)
}

// judgeLevel compares the level at which the input was played.
func (t *tour) judgeLevel(in *Input, p playing, h habit, everyone bool) {
	d := p.level - h.usual
	in.Difference = rounded(d)
	in.Low, in.High = rounded(h.low), rounded(h.high)
	// People play softer in a line check than in a show, and the more so the
	// more the channel varies. They do not play louder.
	low := h.low - max(inputLimits.SlackDB, (h.high-h.low)/3)
	if !t.inTurn {
		low = min(low, max(h.least-inputLimits.SlackDB, h.usual-inputLimits.SoftDB)) // the song may be the softest one
	}
	if math.Abs(d) < inputLimits.GainDB || p.level > low && p.level < h.high+inputLimits.SlackDB {
		return
	}
	// A microphone that picks up the whole stage picks up less when inputs are
	// played in turn.
	if everyone && d < 0 && d > -inputLimits.WildDB {
		return
	}
	in.Status = Look
	how, turn := "louder", "down"
	if d < 0 {
		how, turn = "quieter", "up"
	}
	switch {
	case d < -inputLimits.AbsentDB:
		in.say("%s carries sound, but %.0f dB less than on the tour: was it played? If it was, look for a pad that is on, an instrument that is turned down, or a wrong line.", in.Channel, -d)
	case p.seconds < inputLimits.LeastS:
		in.say("%s is %.0f dB %s than on the tour, but was played for a second only: play it longer before you touch its gain.", in.Channel, math.Abs(d), how)
	default:
		suggest := -math.Round(d)
		in.Suggest = &suggest
		if math.Abs(d) >= inputLimits.WildDB {
			in.say("%s is %.0f dB %s than on the tour: was it played as in the show? If so, turn its gain %s by about %.0f dB.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		} else {
			in.say("%s is %.0f dB %s than on the tour: turn its gain %s by about %.0f dB if it was played as in the show.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		}
	}
}

// judgeTone compares the spectrum of the input while it is played.
func judgeTone(in *Input, p playing, h *heard) {
	m := &h.usual
	if p.seconds < toneLimits.LeastS || len(m.nights) == 0 || m.own > toneLimits.VariesDB || *in.Difference < -inputLimits.AbsentDB {
		return
	}
	if apart := m.unlike(&h.now); apart > m.own+toneLimits.UnlikeDB {
		in.Tone = rounded(apart)
		in.Status = Look
		in.say("%s sounds unlike the tour (%.0f dB by third octaves; six seconds of it usually lie within %.0f): check the microphone, its position and what is plugged in.", in.Channel, apart, m.own)
	}
}

// compare reports where the names in the recording and the input list contradict
// each other.
func (in *Input) compare(t catalog.Track, inputs []catalog.Input) {
	if len(inputs) == 0 || catalog.SameName(t.Name, t.Channel) && t.Input.Channel != "" {
		return
	}
	if t.Input.Channel == "" {
		if in.Usual == nil {
			in.Status = Unknown
			in.say("%s is no channel of the input list, and no other night has it, so it was not compared. Name its file after its track number or its channel.", in.Channel)
		}
		return
	}
	for _, other := range inputs {
		if catalog.SameName(other.Channel, t.Name) {
			in.Status = worse(in.Status, Look)
			in.say("Track %d is called %s in the recording, and %s in the input list, where %s is track %d: one of the two is wrong.", t.Number, t.Name, t.Channel, other.Channel, other.Track)
		}
	}
}
