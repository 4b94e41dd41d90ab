package lists

import (
	"strings"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"nightreel/catalog"
)

// NearTitle returns which of the known titles a title is probably meant to be, "" if it is
// one of them or near none. Two titles that differ only in accents, "&" for "and", or an
// article are near before all others.
func NearTitle(title string, known []string) string {
	folded := make([]string, len(known))
	for i, k := range known {
		if catalog.SameName(title, k) {
			return ""
		}
		folded[i] = fold(k)
	}
	own := fold(title)
	for i, f := range folded {
		if f == own {
			return known[i]
		}
	}
	if near := catalog.Nearest(own, folded); len(near) > 0 {
		for i, f := range folded {
			if f == near[0] {
				return known[i]
			}
		}
	}
	return ""
}

// articles are those of the languages in which set lists are mostly written (our choice).
var articles = map[string]bool{"the": true, "a": true, "an": true, "der": true, "die": true, "das": true, "ein": true, "eine": true,
	"le": true, "la": true, "les": true, "un": true, "une": true, "el": true, "los": true, "las": true, "il": true, "lo": true}

// fold writes a title without case, accents and articles.
func fold(title string) string {
	plain := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return unicode.ToLower(r)
	}, norm.NFD.String(strings.ReplaceAll(title, "&", " and ")))
	var words []string
	for _, w := range strings.Fields(plain) {
		if !articles[strings.TrimFunc(w, unicode.IsPunct)] {
			words = append(words, w)
		}
	}
	if len(words) == 0 {
		return catalog.Key(plain)
	}
	return catalog.Key(strings.Join(words, " "))
}
