package evaluate

import (
	"fmt"
	"math"
)

// Share is a number of hits out of a number of cases.
type Share struct{ Hits, Of int }

// Wilson returns the 95 % confidence interval of a share (Wilson, J. Am. Stat.
// Assoc. 22, 1927; the formula from memory).
func (s Share) Wilson() (low, high float64) {
	if s.Of == 0 {
		return 0, 1
	}
	const z = 1.959964
	n, p := float64(s.Of), float64(s.Hits)/float64(s.Of)
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}

func (s Share) String() string {
	if s.Of == 0 {
		return "none"
	}
	low, high := s.Wilson()
	return fmt.Sprintf("%d of %d = %.1f %% (%.1f to %.1f)", s.Hits, s.Of, 100*float64(s.Hits)/float64(s.Of), 100*low, 100*high)
}
