//go:build race

package linecheck

const raceEnabled = true
