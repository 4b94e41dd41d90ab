//go:build !race

package linecheck

const raceEnabled = false
