package spectrum

import (
	"math"
	"math/bits"
	"unsafe"

	"nightreel/internal/stats"
)

const (
	// CellLooks is the number of looks in a cell. Six seconds are short against a
	// song, and long enough that one stroke does not dominate the spectrum.
	CellLooks = 12
	// PartCells is the number of cells of a part of a minute.
	PartCells = PartLooks / CellLooks

	// quietLooks is the number of looks averaged before the minimum is taken: the
	// mean of six spectra of noise varies by some 2 dB.
	quietLooks = 6
	// QuietBins is the number of bins kept in Quiet: up to 560 Hz, the eleventh
	// harmonic of 50 Hz and the ninth of 60 Hz.
	QuietBins = 96

	// PrintBits is the length of a print, printRate·85 ms.
	PrintBits  = 256
	printFrom  = 128 // first of the 512 points at half the low rate
	printAbout = 16  // points to each side in the running mean
)

// Tone is the stored form of a part of one track. Energies are mean squares.
type Tone struct {
	Cells []Cell
	// Quiet and QuietBands hold the noise or hum that remains in the quiet: for
	// each bin of the low spectrum, and for each band, the least average over
	// three seconds of the part.
	Quiet      [QuietBins]float32
	QuietBands [Bands]float32
}

// Cell is the stored form of six seconds.
type Cell struct {
	// Bands holds the average spectrum in one-third-octave bands. Bands above
	// half the rate are 0.
	Bands [Bands]float32
	// Print holds the signs of 85 ms of the wave at the cell's first look, from
	// about 90 Hz to 1.5 kHz, PrintBits at half the low rate. See [Agreement].
	Print Print
}

// Print holds the signs of a track's wave at one moment.
type Print [PrintBits / 64]uint64

// toneMaker accumulates the tone of one track.
type toneMaker struct {
	tone  Tone
	looks int // of the cell
	highs int
	cell  [Bands]float64

	quiet      [QuietBins]float32 // of the looks since quietLooks were full
	quietBands [Bands]float32
	quieted    int
	quietHighs int
	settled    bool // Quiet has been set
}

// add accumulates the look that l holds for the track in a lane. low and high are
// the numbers of bands at each rate.
func (t *toneMaker) add(look, lane int, low, high int, l *Listener) {
	if look%CellLooks == 0 {
		t.endCell()
		t.tone.Cells = append(t.tone.Cells, Cell{Print: printOf(&l.groups[l.snapshot.First/Lanes].low.points, lane)})
	}
	t.looks++
	t.quieted++
	for i := range low {
		v := l.sums[i][lane]
		t.cell[i] += float64(v)
		t.quietBands[i] += v
	}
	if l.snapshot.High != nil {
		t.highs++
		t.quietHighs++
		for i := lowBands; i < lowBands+high; i++ {
			v := l.sums[i][lane]
			t.cell[i] += float64(v)
			t.quietBands[i] += v
		}
	}
	for k := range t.quiet {
		t.quiet[k] += l.lowPower[k][lane]
	}
	if t.quieted == quietLooks {
		t.endQuiet()
	}
}

func (t *toneMaker) endCell() {
	if t.looks == 0 {
		return
	}
	c := &t.tone.Cells[len(t.tone.Cells)-1]
	for i, v := range t.cell {
		n := t.looks
		if i >= lowBands {
			n = max(1, t.highs)
		}
		c.Bands[i] = float32(v / float64(n))
	}
	t.cell, t.looks, t.highs = [Bands]float64{}, 0, 0
}

func (t *toneMaker) endQuiet() {
	least := func(to *float32, sum float32, n int) {
		if v := sum / float32(max(1, n)); !t.settled || v < *to {
			*to = v
		}
	}
	for k := range t.quiet {
		least(&t.tone.Quiet[k], t.quiet[k], t.quieted)
	}
	for i := range t.quietBands {
		n := t.quieted
		if i >= lowBands {
			n = t.quietHighs
		}
		least(&t.tone.QuietBands[i], t.quietBands[i], n)
	}
	t.settled = true
	t.quiet, t.quietBands, t.quieted, t.quietHighs = [QuietBins]float32{}, [Bands]float32{}, 0, 0
}

func (t *toneMaker) finish() Tone {
	t.endCell()
	if !t.settled && t.quieted > 0 {
		t.endQuiet()
	}
	return t.tone
}

// printOf returns the print of a lane: whether each point is above the running
// mean around it.
func printOf(p *[points][Lanes]float32, lane int) Print {
	const n = points / 2
	var y [n]float32
	for i := range y {
		y[i] = p[2*i][lane] + p[2*i+1][lane]
	}
	sum := float32(0)
	for _, v := range y[printFrom-printAbout : printFrom+printAbout] {
		sum += v
	}
	var out Print
	for i := range PrintBits {
		at := printFrom + i
		sum += y[at+printAbout]
		if y[at]*(2*printAbout+1) > sum {
			out[i/64] |= 1 << (i % 64)
		}
		sum -= y[at-printAbout]
	}
	return out
}

// flat returns rows of lanes as one slice of the same memory.
func flat(rows [][Lanes]float32) []float32 {
	return unsafe.Slice(&rows[0][0], len(rows)*Lanes)
}

// PrintAt returns the frames from the start of a look to the start of its print,
// for a recording's rate in Hz.
func PrintAt(rate int) int64 { return int64(2 * printFrom * Decimation(rate)) }

// PrintRate returns the rate of a print's signs in Hz, for a recording's rate in
// Hz.
func PrintRate(rate int) float64 { return float64(rate) / float64(2*Decimation(rate)) }

// MaxLag is the largest lag, in signs, that [Agreement] tries: 10 ms, 3.5 m of
// air.
const MaxLag = 32

// Agreement counts, for each lag, how many signs of two tracks' prints agree.
type Agreement struct {
	differ [2*MaxLag + 1]int64 // signs that do not agree
	prints int
}

// Add compares prints of two tracks at one moment. Lag n compares sign i of a
// with sign i+n of b: the sound reaches b n signs later.
func (g *Agreement) Add(a, b *Print) {
	fastest.agree(g, a, b)
	g.prints++
}

// agree is [Agreement.Add] in plain Go.
func (g *Agreement) agree(a, b *Print) {
	for i := range g.differ {
		lag := i - MaxLag
		moved := shifted(b, lag)
		for w := range a {
			g.differ[i] += int64(bits.OnesCount64((a[w] ^ moved[w]) & within(lag, w)))
		}
	}
}

// At returns the correlation coefficient of the two waves at a lag in signs, and
// the number of signs that it is based on. The coefficient follows from the share
// of equal signs by the arcsine law of normal processes (Van Vleck and Middleton
// 1966; from memory). It is NaN if nothing was added.
func (g *Agreement) At(lag int) (r float64, n int) {
	n = g.prints * (PrintBits - max(lag, -lag))
	if n == 0 {
		return math.NaN(), 0
	}
	return stats.SinPi(float64(n-int(g.differ[lag+MaxLag]))/float64(n) - 0.5), n
}
