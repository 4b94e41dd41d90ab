package linecheck

import (
	"math"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/sound"
	"nightreel/internal/stats"
)

const (
	// aliveDB is how far above its own quiet an input must come to have been
	// played, and faintDBFS what no input that was played stays below.
	aliveDB   = 10
	faintDBFS = -85
	// fullDBFS is full scale: the highest positive sample of 16 bit lies 0.00027 dB below
	// 0 dBFS.
	fullDBFS = -0.0003
	// gainDB is the least difference from the tour that a gain is suggested for,
	// and wildDB the one that is no matter of taste. Common practice, no source.
	gainDB = 3
	wildDB = 10
	// slackDB is how far outside of what the channel does on the tour a level must
	// lie: gains are set anew each night.
	slackDB = 1.5
	// restDB is how far a song without a channel lies below those with it, and half
	// of how far such songs lie apart.
	restDB = 3
	// softDB is by how much a soft song lies below the others at most, if it is
	// played at all.
	softDB = 5
	// leastSeconds is how long an input must be played for a gain to be suggested.
	leastSeconds = 2
	// absentDB is from where on below the tour a channel more likely was not played
	// than turned down: no gain is suggested.
	absentDB = 16
)

// input compares one input with the tour, alone, and returns what its channel
// sounds like there.
func (t *tour) input(v *sound.Voice, peaks []float64, now timbre) (Input, heard) {
	in := Input{Track: v.Track.Number, Channel: v.Track.Channel, Status: OK, Text: []string{}}
	p := played(peaks)
	if p.level > sound.Silence {
		in.Level = rounded(p.level)
	}
	h := t.habitOf(v, max(1, p.span))
	in.Alive = alive(peaks)
	sounds := heard{now: now, usual: t.mannerOf(keyOf(v), h.between), everyone: t.inTurn && p.span > t.length/2}
	if h.nights > 0 {
		in.Usual = rounded(h.usual)
		// Where it plays all the time it has no quiet; the tour has.
		in.Alive = in.Alive || len(peaks) > 0 && slices.Max(peaks) > max(faintDBFS, h.low-activeDB)
	}
	if in.Alive {
		in.Played = p.seconds
	}
	switch {
	case h.nights > 0 && t.atRest(p, h):
		in.Status = Unknown
		in.say("%s holds no more than in the softest songs of the tour, or those without it: play it in earnest to have it checked.", in.Channel)
	case in.Alive && h.nights > 0:
		t.judgeLevel(&in, p, h, sounds.everyone)
		judgeTone(&in, p, &sounds)
	case in.Alive:
	case h.nights > 0:
		in.Status = Broken
		in.say("%s is dead: %s, and %.0f dBFS on the tour; check microphone, cable and patch.", in.Channel, dbfs(in.Level), h.usual)
	case h.had == 0:
		in.Status = Unknown
		in.say("%s holds nothing but its floor, and no other night tells whether it should: play it, and look at its cable if it stays so.", in.Channel)
	}
	if in.Alive && slices.Max(peaks) >= fullDBFS {
		in.Status = worse(in.Status, Look)
		in.say("%s reaches full scale: it clips, or will.", in.Channel)
	}
	sounds.alive = in.Alive
	return in, sounds
}

// alive reports whether an input rises from its own quiet: for a second, or for
// as long as a click lasts.
func alive(peaks []float64) bool {
	if len(peaks) == 0 {
		return false
	}
	loud := slices.Max(peaks)
	return loud > faintDBFS && loud > stats.Percentile(peaks, 0.1)+aliveDB
}

// atRest reports whether an input may well not have been played: the band played a
// song, and on the tour there are songs without the channel in which it holds no more.
// If it plays in every song of the tour, a low level is its gain.
func (t *tour) atRest(p playing, h habit) bool {
	rests := h.least < h.low-restDB && math.Abs(p.level-h.least) < 2*restDB
	return !t.inTurn && p.level < h.low-restDB && (h.between || rests)
}

// judgeLevel compares how loud it was played.
func (t *tour) judgeLevel(in *Input, p playing, h habit, everyone bool) {
	d := p.level - h.usual
	in.Difference = rounded(d)
	in.Low, in.High = rounded(h.low), rounded(h.high)
	// People play softer in a line check than on the stage, the more so the more
	// the channel's own playing varies; louder they do not.
	low := h.low - max(slackDB, (h.high-h.low)/3)
	if !t.inTurn {
		low = min(low, max(h.least-slackDB, h.usual-softDB)) // the song may be the softest
	}
	if math.Abs(d) < gainDB || p.level > low && p.level < h.high+slackDB {
		return
	}
	// What hears the whole stage hears less of it when inputs are played in turn.
	if everyone && d < 0 && d > -wildDB {
		return
	}
	in.Status = Look
	how, turn := "louder", "down"
	if d < 0 {
		how, turn = "quieter", "up"
	}
	switch {
	case d < -absentDB:
		in.say("%s is heard, but %.0f dB quieter than on the tour: was it played? If it was, look for a pad that is in, a turned-down instrument or the wrong line.", in.Channel, -d)
	case p.seconds < leastSeconds:
		in.say("%s is %.0f dB %s than on the tour, but was played for a second only: play it longer before its gain is touched.", in.Channel, math.Abs(d), how)
	default:
		suggest := -math.Round(d)
		in.Suggest = &suggest
		if math.Abs(d) >= wildDB {
			in.say("%s is %.0f dB %s than on the tour: was it played as in the show? If so, its gain goes %s by about %.0f dB.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		} else {
			in.say("%s is %.0f dB %s than on the tour: gain %s by about %.0f dB, once it is played as in the show.", in.Channel, math.Abs(d), how, turn, math.Abs(suggest))
		}
	}
}

// judgeTone compares what it sounds like while it is played.
func judgeTone(in *Input, p playing, h *heard) {
	m := &h.usual
	if p.seconds < toneSeconds || len(m.nights) == 0 || m.own > variesDB || *in.Difference < -absentDB {
		return
	}
	if apart := m.unlike(&h.now); apart > m.own+unlikeDB {
		in.Tone = rounded(apart)
		in.Status = Look
		in.say("%s sounds unlike the tour (%.0f dB by third octaves, where six seconds of it lie within %.0f): look at microphone, place and what is plugged in.", in.Channel, apart, m.own)
	}
}

// compare tells where the names in the recording and the input list differ.
func (in *Input) compare(t catalog.Track, inputs []catalog.Input) {
	if len(inputs) == 0 || catalog.SameName(t.Name, t.Channel) && t.Input.Channel != "" {
		return
	}
	if t.Input.Channel == "" {
		if in.Usual == nil {
			in.Status = Unknown
			in.say("%s is no channel of the input list, and no other night has it: it was compared with nothing. Name its file by the track number or the channel that it is.", in.Channel)
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
