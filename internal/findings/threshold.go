package findings

import (
	"slices"

	"nightreel/internal/evidence"
)

// Thresholds returns the thresholds of the judges, and of what several of them derive
// from the evidence. Those of the evidence itself are [evidence.Thresholds].
func Thresholds() []evidence.Threshold {
	of := evidence.ThresholdsOf
	return slices.Concat(
		of("stage", &stageLimits), of("hush", &hushLimits), of("past", &pastLimits),
		of("clipped", &clippedLimits), of("flat tops", &flatTopLimits), of("offsets", &offsetLimits), of("silent", &silentLimits),
		of("dropouts", &dropoutLimits), of("crackles", &crackleLimits), of("hum", &humLimits), of("swapped", &swappedLimits),
		of("duplicates", &duplicateLimits), of("polarity", &polarityLimits), of("gains", &gainLimits), of("files", &fileLimits))
}
