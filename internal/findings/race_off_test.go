//go:build !race

package findings

const RaceEnabled = false
