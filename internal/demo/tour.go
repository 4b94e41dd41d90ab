package demo

import (
	"slices"
	"time"
)

// band is invented, as are songs, towns, venues and dates.
const band = "The Gravel Larks"

// The channels of the tour, by index into [channels].
const (
	kickIn = iota
	snareTop
	snareBottom
	hat
	floorTom
	overheadL
	overheadR
	bassDI
	guitarL
	guitarR
	keysDI
	leadVocal
	vocal2
	audienceL
	audienceR
	spareDI
	guestVocal
)

// channelPlan describes a channel for the whole tour.
type channelPlan struct {
	name, group string
	gainDB      float64 // of its preamp on the first night
	notes       string
}

func channels() []channelPlan {
	return []channelPlan{
		kickIn:      {"Kick In", "drums", 22, ""},
		snareTop:    {"Snare Top", "drums", 18, ""},
		snareBottom: {"Snare Bottom", "drums", 26, "polarity reversed at the mic"},
		hat:         {"Hat", "drums", 34, ""},
		floorTom:    {"Floor Tom", "drums", 24, ""},
		overheadL:   {"Overhead L", "drums", 34, ""},
		overheadR:   {"Overhead R", "drums", 34, ""},
		bassDI:      {"Bass DI", "bass", 12, ""},
		guitarL:     {"Guitar L", "guitars", 24, ""},
		guitarR:     {"Guitar R", "guitars", 24, ""},
		keysDI:      {"Keys DI", "keys", 10, ""},
		leadVocal:   {"Lead Vocal", "vocals", 38, ""},
		vocal2:      {"Vocal 2", "vocals", 40, ""},
		audienceL:   {"Audience L", "audience", 44, ""},
		audienceR:   {"Audience R", "audience", 44, ""},
		spareDI:     {"Spare DI", "spare", 10, "nothing plugged in"},
		guestVocal:  {"Guest Vocal", "vocals", 40, "one song only"},
	}
}

// takePlan describes a take to be played.
type takePlan struct {
	song    int     // index into repertoire
	form    string  // see score.play
	tempo   float64 // against the song's own
	pause   float64 // s until the next take
	talk    bool    // in that pause
	guest   bool
	snareDB float64 // the drummer plays louder
	bassDB  float64 // the bass player plays louder
}

// form is how a rig writes its files.
type form int

const (
	numbered     form = iota // "01 Kick In.wav", mono
	tracks                   // "TRK01_0001.wav", mono, segments
	named                    // "Kick In_01.wav", mono
	polyphonic               // "Show_0001.wav", RIFF
	polyphonic64             // the same, RF64, with cue markers
)

// rigPlan is one rig on one night. segments lists where new segments begin, as
// shares of the length.
type rigPlan struct {
	name      string
	folder    string // in the show's folder, "" = directly in it
	form      form
	rate      int
	bits      int
	from, to  float64 // share of the show at which it starts and stops
	segments  []float64
	originate string
}

// showPlan is one night.
type showPlan struct {
	seed         int
	starts       time.Time
	venue        string
	folder       string
	patch        []int // channel of each track, beginning with track 1
	gains        map[int]float64
	walkOn       float64 // seconds of audience before the first take
	takes        []takePlan
	rigs         []rigPlan
	setList      string // "", "txt" or "csv"
	bassRigDB    float64
	crackingShot bool // one snare stroke peaks at -0.1 dBFS
}

// date returns the day the show began.
func (s showPlan) date() string { return s.starts.Format(time.DateOnly) }

// gain returns the preamp gain of a channel that night in dB.
func (s showPlan) gain(ch int) float64 {
	if g, ok := s.gains[ch]; ok {
		return g
	}
	return channels()[ch].gainDB
}

// track returns the track number of a channel that night, 0 for none.
func (s showPlan) track(ch int) int { return slices.Index(s.patch, ch) + 1 }

// tour returns the nights.
//
// Sample rates, sizes and lengths fit 400 MB for four nights of 16 tracks and a
// second rig: one night at 48 kHz and 24 bit, which a real tour would have
// throughout, and songs of about ten seconds.
func tour() []showPlan {
	first := []int{kickIn, snareTop, snareBottom, hat, floorTom, overheadL, overheadR, bassDI,
		guitarL, guitarR, keysDI, leadVocal, vocal2, audienceL, audienceR, spareDI}
	// On the third night hat and floor tom exchange tracks, the lead vocal moves
	// to the spare line, and a guest gets the lead vocal's.
	repatched := []int{kickIn, snareTop, snareBottom, floorTom, hat, overheadL, overheadR, bassDI,
		guitarL, guitarR, keysDI, guestVocal, vocal2, audienceL, audienceR, leadVocal}
	later := map[int]float64{kickIn: 20, hat: 36, guitarR: 27, leadVocal: 35, audienceL: 42, audienceR: 42}
	at := func(day, hour, minute, second int) time.Time {
		return time.Date(2031, time.May, day, hour, minute, second, 0, time.UTC)
	}
	return []showPlan{
		{seed: 1, starts: at(2, 20, 31, 7), venue: "Harbour Hall, Tidewick", folder: "2031-05-02 Harbour Hall, Tidewick",
			patch: first, walkOn: 2.6, setList: "txt",
			takes: []takePlan{
				{song: 0, form: "IVCV", tempo: 1, pause: 2.8, talk: true},
				{song: 4, form: "IVC", tempo: 0.99, pause: 2.6, bassDB: 8},
				{song: 2, form: "VCVC", tempo: 1.01, pause: 2.4},
			},
			rigs: []rigPlan{{name: "main", form: numbered, rate: 48000, bits: 24, to: 1, originate: "Rig A"}}},

		{seed: 2, starts: at(3, 23, 59, 34), venue: "Old Mill, Tallowbridge", folder: "Old Mill, Tallowbridge 2031-05-03",
			patch: first, gains: map[int]float64{kickIn: 24, leadVocal: 36, guitarL: 22}, walkOn: 3, setList: "txt",
			takes: []takePlan{
				{song: 0, form: "IVC", tempo: 1.03, pause: 2.6},
				{song: 3, form: "VC", tempo: 1, pause: 2.8, talk: true},
				{song: 1, form: "IVC", tempo: 0.98, pause: 2.6},
				{song: 4, form: "VCSC", tempo: 1.02, pause: 3, talk: true, snareDB: 9},
				{song: 0, form: "VC", tempo: 1.05, pause: 2.8}, // again, as an encore
			},
			rigs: []rigPlan{{name: "main", form: polyphonic64, rate: 44100, bits: 16, to: 1, segments: []float64{0.37, 0.74}, originate: "Rig A"}}},

		{seed: 3, starts: at(5, 20, 44, 50), venue: "Lantern Works", folder: "20310505_Lantern-Works",
			patch: repatched, gains: later, walkOn: 2.6, setList: "txt", bassRigDB: 3, crackingShot: true,
			takes: []takePlan{
				{song: 1, form: "IVC", tempo: 1.02, pause: 2.4},
				{song: 2, form: "VCSC", tempo: 0.99, pause: 2.4, talk: true},
				{song: 3, form: "VC", tempo: 1.04, pause: 2.4, guest: true},
				{song: 4, form: "IVC", tempo: 1, pause: 2.4},
			},
			rigs: []rigPlan{
				{name: "main", folder: "main", form: tracks, rate: 48000, bits: 16, to: 1, segments: []float64{0.6}, originate: "Rig A"},
				// The backup was started late and stopped early.
				{name: "backup", folder: "backup", form: polyphonic, rate: 48000, bits: 16, from: 0.42, to: 0.93, originate: "Rig B"},
			}},

		{seed: 4, starts: at(6, 21, 2, 31), venue: "Meadow Stage, Upper Brackle", folder: "2031-05-06 Meadow Stage, Upper Brackle",
			patch: repatched, gains: later, walkOn: 2.6, setList: "csv", bassRigDB: 3,
			takes: []takePlan{
				{song: 2, form: "VCC", tempo: 1.02, pause: 2.6},
				{song: 1, form: "IVC", tempo: 1, pause: 2.6, talk: true},
				{song: 0, form: "IVC", tempo: 0.97, pause: 2.6},
				{song: 4, form: "IVC", tempo: 1.01, pause: 2.6},
			},
			rigs: []rigPlan{{name: "main", form: named, rate: 44100, bits: 16, to: 1, originate: "Rig A"}}},
	}
}

// notes returns the engineer's notes.
func notes() []Note {
	return []Note{{Show: "2031-05-05", Text: "new bass rig"}}
}
