package session

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"nightreel/catalog"
)

// maxName bounds the free part of a file name in bytes. File systems allow 255;
// numbers, date, suffixes and the temporary name come on top.
const maxName = 120

// safeName turns a title or channel name into a part of a file name that every
// file system of the trade accepts: no separators, none of the characters that
// exFAT and NTFS refuse, no control characters, no dot or blank at the ends.
func safeName(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r == utf8.RuneError || unicode.IsControl(r):
			return -1
		case strings.ContainsRune(`<>:"/\|?*`, r):
			return '-'
		}
		return r
	}, s)
	for len(s) > maxName {
		_, n := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-n]
	}
	s = strings.Trim(s, " .")
	if s == "" {
		return "untitled"
	}
	return s
}

// itemName names an item's folder or polyphonic file, "01 Title (2031-05-02)".
func itemName(i, items int, it catalog.SessionItem) string {
	return fmt.Sprintf("%0*d %s (%s)", width(items), i+1, safeName(it.Song), it.Show)
}

// inputName names an input's file, "01 Kick In.wav".
func inputName(in catalog.SessionInput, highest int) string {
	return fmt.Sprintf("%0*d %s.wav", width(highest), in.DeskInput, safeName(in.Channel))
}

// width returns the number of digits for numbers up to n, at least two, so that
// names sort in order.
func width(n int) int { return max(2, len(fmt.Sprint(n))) }
