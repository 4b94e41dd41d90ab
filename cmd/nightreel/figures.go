package main

import (
	"fmt"
	"math"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// decibels writes a level with one decimal; silence is "−∞" in the trade but
// "silent" is what a tired eye reads; what was not measured is "-".
func decibels(l meter.Level) string {
	switch {
	case math.IsNaN(float64(l)):
		return "-"
	case math.IsInf(float64(l), -1):
		return "silent"
	}
	return rounded("%.1f", float64(l))
}

// signed writes a difference in dB.
func signed(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "-"
	}
	return rounded("%+.1f", db)
}

// rounded writes a number of dB with one decimal, and zero without a sign.
func rounded(format string, db float64) string {
	if text := fmt.Sprintf(format, db); strings.Trim(text, "+-0.") != "" {
		return text
	}
	return "0.0"
}

// span words from where to where something lies in a recording.
func span(startS, endS float64) string {
	if start, end := catalog.Clock(startS), catalog.Clock(endS); start != end {
		return start + " to " + end
	}
	return "at " + catalog.ClockTenths(startS)
}

// titled names a take: its song, and which of the song's takes of the show it is.
func titled(song string, nth int) string {
	if nth > 1 {
		return fmt.Sprintf("%s (%d)", song, nth)
	}
	return song
}

// figureHeads are the columns that figureCells fills.
var figureHeads = []string{">peak dBFS", ">true pk dBTP", ">RMS dBFS", ">LUFS", ">max M", ">LRA LU", ">crest dB", ">clipped"}

// figureDrop are those of the figures that a narrow terminal can do without, first one
// first; those that tell whether a channel was alive and clipped stay.
var figureDrop = []string{"LRA LU", "max M", "crest dB", "length", "true pk dBTP", "LUFS", "recorded as"}

func figureCells(f meter.Figures) []string {
	return []string{
		decibels(f.SamplePeak), decibels(f.TruePeak), decibels(f.RMS), decibels(f.Loudness),
		decibels(f.MaxMomentary), decibels(f.LoudnessRange), decibels(f.CrestFactor), fmt.Sprint(f.ClippedSamples),
	}
}
