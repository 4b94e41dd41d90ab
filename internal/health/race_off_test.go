//go:build !race

package health_test

const raceEnabled = false
