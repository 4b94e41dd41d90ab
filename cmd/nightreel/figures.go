package main

import (
	"fmt"
	"math"

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
	return fmt.Sprintf("%.1f", float64(l))
}

// signed writes a difference in dB.
func signed(db float64) string {
	if math.IsNaN(db) || math.IsInf(db, 0) {
		return "-"
	}
	return fmt.Sprintf("%+.1f", db)
}

// figureHeads are the columns that figureCells fills.
var figureHeads = []string{">peak dBFS", ">true pk dBTP", ">RMS dBFS", ">LUFS", ">max M", ">LRA LU", ">crest dB", ">clipped"}

func figureCells(f meter.Figures) []string {
	return []string{
		decibels(f.SamplePeak), decibels(f.TruePeak), decibels(f.RMS), decibels(f.Loudness),
		decibels(f.MaxMomentary), decibels(f.LoudnessRange), decibels(f.CrestFactor), fmt.Sprint(f.ClippedSamples),
	}
}
