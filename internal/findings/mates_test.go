package findings

import (
	"fmt"
	"math"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/channelsound"
	"nightreel/internal/evidence"
	"nightreel/internal/spectrum"
)

// listened returns what one track sounds like, by its levels alone.
func listened(n *evidence.Recording, number int) *channelsound.Night {
	t := track(n, number)
	v := channelsound.Voice{Track: t.Track, Quiet: channelsound.Silence}
	per := int(channelsound.CellSeconds * evidence.BinsPerSecond)
	for from := 0; from+per <= len(t.Levels); from += per {
		sum := 0.0
		for _, l := range t.Levels[from : from+per] {
			sum += math.Pow(10, float64(l)/10) / float64(per)
		}
		v.Cells = append(v.Cells, spectrum.Cell{})
		v.Levels = append(v.Levels, channelsound.DB(sum))
	}
	return &channelsound.Night{SampleRate: testRate, Takes: evidence.Spans(n.Takes), Voices: []channelsound.Voice{v}}
}

// play makes what a track plays in a take, not its floor, louder by so many dB.
func (t *tape) play(sc *scene, take int, db float64) {
	for b := sc.in(take, 0); b < sc.in(take, 1); b++ {
		t.set(b, float64(t.blocks[b].MeanSquare)*math.Pow(10, db/10))
	}
}

// The songs after a step hold by themselves more or less than those before: on
// other nights as well.
func TestStepAgainstMates(t *testing.T) {
	for _, row := range []struct {
		what     string
		arranged float64 // dB, of the last two songs on all nights
		played   float64 // dB, of them tonight alone
		gain     float64 // dB, from there on
		floor    float64 // dB, of the pauses alone
		alone    int     // findings without other nights
		want     int
	}{
		{"turned down where the songs are louder", 9, 0, -10, 0, 0, 1},
		{"turned up where the songs are softer", -9, 0, 10, 0, 0, 1},
		{"softer songs after an amplifier was switched off", -10, 0, 0, -10, 1, 0},
		{"played softer tonight", 0, -10, 0, 0, 0, 0},
		{"as always", 9, 0, 0, 0, 0, 0},
	} {
		t.Run(row.what, func(t *testing.T) {
			for _, nights := range []int{0, 2} {
				sc := newScene(8, nights)
				number := sc.tape("Guitar L").number
				guitar := sc.tape("Guitar L")
				late := map[string]bool{}
				for take := 2; take < 4; take++ {
					guitar.play(sc, take, row.arranged+row.played)
					late[sc.st.takes[take].Song] = true
				}
				from := sc.in(2, 0)
				if row.floor != 0 {
					songs := sc.st.song
					for b := from; b < len(guitar.blocks); b++ {
						if songs[b] < 0 {
							guitar.set(b, float64(guitar.blocks[b].MeanSquare)*math.Pow(10, row.floor/10))
						}
					}
				}
				guitar.turn(from, float32(row.gain))
				n := night(sc.st, sc.voices, sc.tapes)
				n.Sound = listened(n, number)
				for i, p := range sc.past {
					levels := track(p, number).Levels
					for _, take := range p.Takes {
						for b := track(p, number).Bin(take.Start); late[take.Song] && b < track(p, number).Bin(take.End); b++ {
							levels[b] += float32(row.arranged)
						}
					}
					remember(n, catalog.ShowKey(fmt.Sprintf("2031-04-%02d", i+1)), p)
					n.Tour = append(n.Tour, listened(p, number))
				}
				want := row.want
				if nights == 0 {
					want = row.alone
				}
				known := learn(n)
				if found := steps(known, track(n, number), known.stage()); len(found) != want {
					t.Errorf("%d other nights: %v, want %d", nights, found, want)
				}
			}
		})
	}
}

// songNight is a night of songs of a minute each, in which one channel plays at
// some level in dB, over a floor.
func songNight(floor float64, songs []string, levels []float64) *channelsound.Night {
	const per = 10 // cells
	n := &channelsound.Night{SampleRate: testRate}
	var part spectrum.Tone
	power := func(db float64) float32 { return float32(math.Pow(10, db/10)) }
	for b := hissBand; b < spectrum.Bands; b++ {
		part.QuietBands[b] = power(floor) / float32(spectrum.Bands-hissBand)
	}
	for i, song := range songs {
		n.Takes = append(n.Takes, channelsound.Span{Song: song, Start: int64(60 * i * testRate), End: int64(60 * (i + 1) * testRate)})
		for range per {
			var c spectrum.Cell
			c.Bands[10] = power(levels[i])
			part.Cells = append(part.Cells, c)
		}
	}
	t := catalog.Track{Number: 1, Channel: "Guitar", SampleRate: testRate, Frames: int64(60 * len(songs) * testRate)}
	n.Voices = []channelsound.Voice{channelsound.Hear(t, []spectrum.Tone{part}, n.Takes)}
	return n
}

// What a channel plays is compared in the songs that both nights have, not in
// the loudest of each.
func TestGainBySongs(t *testing.T) {
	for _, row := range []struct {
		what   string
		floor  float64 // tonight
		levels []float64
		want   float64 // dB, 0 for none
	}{
		{"turned down by 7 dB; the loud song is not played", -87, []float64{-37, -57}, -7},
		{"a quieter room; the loud song is not played", -87, []float64{-30, -27}, 0},
		{"as always; the loud song is not played", -80, []float64{-30, -50}, 0},
		{"played softer", -80, []float64{-37, -57}, 0},
	} {
		t.Run(row.what, func(t *testing.T) {
			n := &evidence.Recording{SampleRate: testRate, Sound: songNight(row.floor, []string{"Lamps", "Ferry"}, row.levels)}
			n.Tracks = []evidence.Track{evidence.Unmeasured(n.Sound.Voices[0].Track)}
			for range 3 {
				n.Tour = append(n.Tour, songNight(-80, []string{"Lamps", "Copper"}, []float64{-30, -20}))
			}
			if got := gainAgainstTour(n)[0].db; math.Abs(got-row.want) > 0.3 {
				t.Errorf("%.1f dB, want %.1f", got, row.want)
			}
		})
	}
}

// Nights in 16 bit hide the hiss of a preamp, and so what its gain made of it:
// those in 24 bit tell, and all tell of the playing.
func TestGainBehindTheRecordersSteps(t *testing.T) {
	for _, row := range []struct {
		what   string
		bits   []int     // of the other nights
		louder []float64 // dB, what the channel played on them more than on the first
		floor  float64   // tonight
		want   float64
	}{
		{"one night in 24 bit", []int{24, 16, 16}, []float64{0, 0, 0}, -99, -9},
		{"the nights differ in what was played", []int{24, 16, 16}, []float64{0, -9, -5}, -99, 0},
		{"its floor is as ever", []int{24, 16, 16}, []float64{0, 0, 0}, -90, 0},
	} {
		n := &evidence.Recording{SampleRate: testRate, Sound: songNight(row.floor, []string{"Lamps", "Ferry"}, []float64{-39, -30})}
		n.Sound.BitDepth = 24
		n.Tracks = []evidence.Track{evidence.Unmeasured(n.Sound.Voices[0].Track)}
		for i, bits := range row.bits {
			p := songNight(-90, []string{"Lamps", "Copper"}, []float64{-30 + row.louder[i], -20})
			p.BitDepth = bits
			n.Tour = append(n.Tour, p)
		}
		if got := gainAgainstTour(n)[0].db; math.Abs(got-row.want) > 0.5 {
			t.Errorf("%s: %.1f dB, want %.1f", row.what, got, row.want)
		}
	}
}
