package catalog

import (
	"strings"
	"unicode"
)

// Key returns the form in which titles and names are compared: their letters and
// digits in lower case. "Don't Wait!" and "DONT WAIT" have one key. A name
// without letters or digits is its own key.
func Key(name string) string {
	key := strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
	if key == "" {
		return strings.TrimSpace(name)
	}
	return key
}

// SameName reports whether two names have one key.
func SameName(a, b string) bool { return Key(a) == Key(b) }
