package wavfile

import (
	"encoding/binary"
	"fmt"
	"strings"
	"unicode/utf8"
)

// text returns the text in a field that ends at its first NUL. Trailing blanks
// are padding. Bytes that are not UTF-8 are taken for ISO 8859-1, which is what
// older recorders write.
func text(b []byte) string {
	s, _, _ := strings.Cut(string(b), "\x00")
	s = strings.TrimRight(s, " ")
	if utf8.ValidString(s) {
		return s
	}
	return latin1(s)
}

// latin1 turns ISO 8859-1 into UTF-8.
func latin1(s string) string {
	r := make([]rune, len(s))
	for i := range len(s) {
		r[i] = rune(s[i])
	}
	return string(r)
}

// appendField appends s in exactly n bytes, padded with NUL. What is too long
// is cut between two characters.
func appendField(b []byte, s string, n int) []byte {
	s, _, _ = strings.Cut(s, "\x00")
	for len(s) > n {
		_, last := utf8.DecodeLastRuneInString(s)
		s = s[:len(s)-last]
	}
	b = append(b, s...)
	return append(b, make([]byte, n-len(s))...)
}

// appendText appends s, ended by NUL.
func appendText(b []byte, s string) []byte {
	s, _, _ = strings.Cut(s, "\x00")
	return append(append(b, s...), 0)
}

// appendChunk appends a chunk with its pad byte.
func appendChunk(b []byte, id string, body []byte) []byte {
	b = append(b, id...)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(body)))
	b = append(b, body...)
	if len(body)%2 == 1 {
		b = append(b, 0)
	}
	return b
}

// subchunks calls f for every chunk in the body of a LIST. A forgotten pad byte
// is read around; what is cut short is passed on as far as it goes, and
// reported.
func subchunks(b []byte, f func(id string, body []byte)) error {
	for at := 0; at+8 <= len(b); {
		id := b[at : at+4]
		if !printable(id) {
			return fmt.Errorf("%w: no chunk id at byte %d of the list", errChunk, at)
		}
		size := int64(binary.LittleEndian.Uint32(b[at+4:]))
		at += 8
		if size > int64(len(b)-at) {
			f(string(id), b[at:])
			return fmt.Errorf("%w: entry %s of %d bytes, %d are there", errChunk, id, size, len(b)-at)
		}
		f(string(id), b[at:at+int(size)])
		at += int(size)
		if size%2 == 1 && (at >= len(b) || b[at] == 0 || !idAt(b, at)) {
			at++
		}
	}
	return nil
}

func idAt(b []byte, at int) bool { return at+8 <= len(b) && printable(b[at:at+4]) }
