//go:build race

package findings_test

const raceEnabled = true
