package demo

// chord is a root (MIDI note number, in the bass's octave) with its third.
type chord struct {
	root  int
	minor bool
}

// third returns the third's distance from the root in semitones.
func (c chord) third() int {
	if c.minor {
		return 3
	}
	return 4
}

// section is the arrangement of one kind of section. Patterns have 16 steps a bar:
// x is a note, X an accent, o an open hat or a held chord.
type section struct {
	kick, snare, hat, tom string
	bass, guitar, keys    string
	chords                []chord // one a bar, repeated
	line                  []sung  // over two bars
}

// sung is one syllable of the melody.
type sung struct {
	step  int // sixteenths from the start of a two-bar phrase
	steps int // its length
	pitch int // semitones above the song's tonic
	vowel int
}

// song is what stays the same from night to night.
type song struct {
	title         string
	bpm           float64
	tonic         int // MIDI note that the melody counts from
	countIn       bool
	verse, chorus section
}

// The vowels of a syllable, as indexes into formants.
const (
	ah = iota
	eh
	ee
	oh
	oo
)

// repertoire returns the band's songs. They differ in tempo, harmony, groove and
// melody, so that any one of these identifies each.
func repertoire() []song {
	return []song{
		{title: "Salt on the Wire", bpm: 152, tonic: 57, countIn: true,
			verse: section{
				kick: "X.......x.x.....", snare: "....X.......X...", hat: "x.x.x.x.x.x.x.x.", tom: "................",
				bass: "x.x.x.x.x.x.x.x.", guitar: "x.xxx.xxx.xxx.xx", keys: "o...............",
				chords: []chord{{33, true}, {29, false}},
				line:   []sung{{0, 3, 0, ah}, {4, 2, 0, eh}, {6, 2, 3, oh}, {8, 5, 2, ee}, {18, 2, 0, ah}, {20, 4, -2, oo}, {24, 5, 0, ah}},
			},
			chorus: section{
				kick: "X..x..x.X..x..x.", snare: "....X.......X...", hat: "o...o...o...o...", tom: "..............x.",
				bass: "X.xxX.xxX.xxX.xx", guitar: "o.......o.......", keys: "o.......o.......",
				chords: []chord{{36, false}, {31, false}},
				line:   []sung{{0, 6, 7, ah}, {8, 3, 5, oh}, {12, 4, 3, ee}, {16, 10, 5, ah}},
			}},
		{title: "Half a Lantern", bpm: 136, tonic: 62,
			verse: section{
				kick: "X.........x.....", snare: "........X.......", hat: "x..xx..xx..xx..x", tom: "................",
				bass: "X.....x.x.......", guitar: "x...x...x...x...", keys: "o.....o...o.....",
				chords: []chord{{38, false}, {35, true}},
				line:   []sung{{2, 4, 4, oh}, {6, 4, 2, ah}, {10, 6, 0, oo}, {18, 4, 4, eh}, {22, 8, 7, ah}},
			},
			chorus: section{
				kick: "X.....x.X.x.....", snare: "....X.......X..x", hat: "x.x.x.o.x.x.x.o.", tom: "................",
				bass: "X..x..x.X..x..x.", guitar: "o.....o...o.....", keys: "o.....o.........",
				chords: []chord{{31, false}, {33, false}},
				line:   []sung{{0, 4, 9, ah}, {4, 4, 7, ee}, {8, 8, 4, oh}, {16, 4, 7, ah}, {20, 10, 2, oh}},
			}},
		{title: "Ninety Doors", bpm: 168, tonic: 52, countIn: true,
			verse: section{
				kick: "X...X...X...X...", snare: "..x...x...x...x.", hat: "xxxxxxxxxxxxxxxx", tom: "................",
				bass: "xxxxxxxxxxxxxxxx", guitar: "x.x.x.x.x.x.x.x.", keys: "................",
				chords: []chord{{28, true}, {28, true}},
				line:   []sung{{0, 2, 12, ah}, {2, 2, 12, eh}, {4, 2, 10, ah}, {6, 4, 7, oh}, {16, 2, 12, ee}, {18, 2, 10, ah}, {20, 6, 15, ah}},
			},
			chorus: section{
				kick: "X...X...X...X...", snare: "....X.......X...", hat: "..o...o...o...o.", tom: "............x.x.",
				bass: "X.X.X.X.X.X.X.X.", guitar: "oo.oo.oooo.oo.oo", keys: "o.o.....o.o.....",
				chords: []chord{{31, false}, {26, false}},
				line:   []sung{{0, 8, 15, ah}, {8, 8, 12, oo}, {16, 8, 14, eh}, {24, 6, 12, oh}},
			}},
		{title: "Slow Weather", bpm: 126, tonic: 60,
			verse: section{
				kick: "X...............", snare: "............x...", hat: "x...x...x...x...", tom: "......x.......x.",
				bass: "X.......x.......", guitar: "o...............", keys: "x.x.x.x.x.x.x.x.",
				chords: []chord{{36, false}, {40, true}},
				line:   []sung{{0, 8, 7, oo}, {10, 5, 4, ah}, {16, 8, 2, oh}, {25, 6, 4, ee}},
			},
			chorus: section{
				kick: "X.......X.x.....", snare: "....X.......X...", hat: "x.x.x.x.x.x.x.x.", tom: "................",
				bass: "X...x...X...x.x.", guitar: "o.......o.......", keys: "o...o...o...o...",
				chords: []chord{{33, true}, {29, false}},
				line:   []sung{{0, 10, 12, ah}, {12, 4, 11, oh}, {16, 12, 9, ah}},
			}},
		{title: "Marrow Lane", bpm: 144, tonic: 55,
			verse: section{
				kick: "X..X..X...X.....", snare: "....x.......x...", hat: "x.xxx.xxx.xxx.xx", tom: "................",
				bass: "X..X..X...X.X...", guitar: "...x..x....x..x.", keys: "....o.......o...",
				chords: []chord{{31, true}, {34, false}},
				line:   []sung{{4, 2, 3, eh}, {6, 2, 5, ee}, {8, 6, 7, ah}, {20, 2, 7, oh}, {22, 2, 5, eh}, {24, 6, 3, ah}},
			},
			chorus: section{
				kick: "X..X..X...X.....", snare: "....X..x....X...", hat: "o.x.o.x.o.x.o.x.", tom: "................",
				bass: "X..X..X.X..X..X.", guitar: "o..o..o...o.....", keys: "o..o..o...o.....",
				chords: []chord{{27, false}, {29, false}},
				line:   []sung{{0, 3, 8, ah}, {3, 3, 7, oh}, {6, 6, 3, ah}, {16, 3, 10, ee}, {19, 3, 8, ah}, {22, 8, 7, oo}},
			}},
	}
}
