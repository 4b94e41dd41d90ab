package lists

import "testing"

// A title that is nearly one of the tour is recognised, whatever its accents, articles and
// ampersands; a known title and a new one are not.
func TestNearTitle(t *testing.T) {
	known := []string{"Marrow Lane", "Salt on the Wire", "Half a Lantern", "Ninety Doors", "Café Noir", "Dust & Diesel", "The Weir"}
	for title, want := range map[string]string{
		"Marow Lane":       "Marrow Lane",
		"marrow lane!":     "",
		"Salt on Wire":     "Salt on the Wire",
		"Half Lantern":     "Half a Lantern",
		"Cafe Noir":        "Café Noir",
		"Cafe\u0301 Noir":  "Café Noir",
		"Dust and Diesel":  "Dust & Diesel",
		"Weir":             "The Weir",
		"Ninety Nine Sons": "",
		"Tidal":            "",
		"":                 "",
	} {
		if got := NearTitle(title, known); got != want {
			t.Errorf("%q: offers %q, want %q", title, got, want)
		}
	}
}
