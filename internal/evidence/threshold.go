package evidence

import (
	"reflect"
	"slices"
)

// Threshold is a number that decides what is reported. Thresholds are the fields of a
// struct for each judge, with the tags unit and source; [ThresholdsOf] lists them.
type Threshold struct {
	Of     string // the judge, or what several of them rest on
	Name   string // of the field
	Unit   string // "times", "ratio" and "share" have none
	Source string // "standard", "measured" or "chosen"; the comment in the source says more
	field  reflect.Value
}

// ThresholdsOf returns the thresholds in a struct, which limits points to.
func ThresholdsOf(of string, limits any) []Threshold {
	s := reflect.ValueOf(limits).Elem()
	var all []Threshold
	for i := range s.NumField() {
		f := s.Type().Field(i)
		all = append(all, Threshold{Of: of, Name: f.Name, Unit: f.Tag.Get("unit"), Source: f.Tag.Get("source"), field: s.Field(i)})
	}
	return all
}

// Thresholds returns the thresholds of what this package reduces measurements to.
func Thresholds() []Threshold {
	return slices.Concat(
		ThresholdsOf("floor", &FloorLimits), ThresholdsOf("DC", &dcLimits), ThresholdsOf("zeros", &zeroLimits),
		ThresholdsOf("cracks", &crackLimits), ThresholdsOf("piles", &PileLimits), ThresholdsOf("neighbours", &neighbourLimits))
}

// IsCount reports whether the threshold is a whole number.
func (t Threshold) IsCount() bool { return t.field.Kind() == reflect.Int }

// Value returns the threshold in its unit.
func (t Threshold) Value() float64 {
	if t.IsCount() {
		return float64(t.field.Int())
	}
	return t.field.Float()
}

// Set changes the threshold for the whole program; of a count the whole number counts.
// Only who measures what a threshold does may call it, while nothing judges.
func (t Threshold) Set(value float64) {
	if t.IsCount() {
		t.field.SetInt(int64(value))
		return
	}
	t.field.SetFloat(value)
}
