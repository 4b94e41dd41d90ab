package lists

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	// maxNumber bounds track, desk input and output numbers: no desk or rig has
	// as many (common practice, no source).
	maxNumber = 9999
	// maxGainDB bounds a preamp's gain in either direction: real ones end below
	// +80 dB (common practice, no source); more is a typing error.
	maxGainDB = 100
)

// number reads a track, desk input or output number; what is its name in errors.
func (t *table) number(r row, role int, what string) (int, error) {
	text := t.cell(r, role)
	remedy := "write a whole number from 1"
	if text == "" {
		return 0, t.fail(r, role, "the "+what+" is missing", remedy)
	}
	whole := strings.TrimSuffix(strings.TrimPrefix(text, "#"), ".")
	for _, fraction := range []string{".0", ",0", ".00", ",00"} { // as spreadsheets write whole numbers
		whole = strings.TrimSuffix(whole, fraction)
	}
	n, err := strconv.ParseUint(whole, 10, 32)
	if err != nil || n < 1 || n > maxNumber {
		if strings.ContainsAny(text, "-–/+&") {
			remedy += "; write a line for each side of a pair"
		}
		return 0, t.fail(r, role, fmt.Sprintf("%q is not a %s", text, what), remedy)
	}
	return int(n), nil
}

// gain reads a gain in dB; an empty cell or a dash gives nil.
// The decimal sign may be a point or a comma in any file.
func (t *table) gain(r row, role int) (*float64, error) {
	text := t.cell(r, role)
	s := strings.NewReplacer("\u2212", "-", ",", ".").Replace(text) // a typographic minus
	if len(s) > 2 && strings.EqualFold(s[len(s)-2:], "dB") {
		s = strings.TrimSpace(s[:len(s)-2])
	}
	switch s {
	case "", "-", "–", "—":
		return nil, nil
	}
	// ParseFloat also accepts exponents, hex and "inf", which people do not
	// write.
	g, err := strconv.ParseFloat(s, 64)
	if err != nil || strings.Trim(s, "+-.0123456789") != "" || math.Abs(g) > maxGainDB {
		return nil, t.fail(r, role, fmt.Sprintf("%q is not a gain in dB", text), fmt.Sprintf("write a number from -%d to %d, such as 32 or -3.5, or leave it empty", maxGainDB, maxGainDB))
	}
	g += 0 // no negative zero, which would print as -0
	return &g, nil
}

// seen finds values that are listed twice.
type seen map[string]int // key → line

// again returns the line in which key was found before, 0 if it is new.
func (s seen) again(key string, line int) int {
	if first, ok := s[key]; ok {
		return first
	}
	s[key] = line
	return 0
}

// twice returns the error for a value that is in two lines.
func (t *table) twice(r row, role int, what string, first int, remedy string) error {
	return t.fail(r, role, fmt.Sprintf("%s %s is in line %d already", what, t.cell(r, role), first), remedy)
}
