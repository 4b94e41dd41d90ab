//go:build race

package meter

const raceDetector = true
