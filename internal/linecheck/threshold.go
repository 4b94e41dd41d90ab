package linecheck

import (
	"slices"

	"nightreel/internal/evidence"
)

// Thresholds returns the thresholds of the line check's own judgement.
func Thresholds() []evidence.Threshold {
	of := evidence.ThresholdsOf
	return slices.Concat(
		of("line check: levels", &levelLimits), of("line check: inputs", &inputLimits), of("line check: tone", &toneLimits),
		of("line check: heard again", &closerLimits), of("line check: exchanged", &crossLimits))
}
