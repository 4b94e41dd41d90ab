package lists

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/unicode/norm"
)

// maxBytes bounds the size of a list: hundreds of times a long input list, and
// small enough that no content can fill the memory.
const maxBytes = 1 << 20

// readText reads a list as UTF-8 with \n line ends and no byte-order mark.
func readText(r io.Reader, name string) (string, error) {
	raw, err := io.ReadAll(io.LimitReader(r, maxBytes+1))
	if err != nil {
		return "", &Error{File: name, Problem: "could not read the list", Err: err}
	}
	if len(raw) > maxBytes {
		return "", &Error{File: name, Problem: fmt.Sprintf("is longer than %d bytes, too long for a list", maxBytes), Remedy: "is this the right file? export the list as CSV or plain text"}
	}
	if c := charset(raw); c != nil {
		if raw, err = c.NewDecoder().Bytes(raw); err != nil {
			return "", &Error{File: name, Problem: "could not read the text", Err: err}
		}
	}
	raw = bytes.TrimPrefix(raw, []byte("\ufeff"))
	if bytes.IndexByte(raw, 0) >= 0 {
		return "", &Error{File: name, Problem: "is not a text file", Remedy: "export the list as CSV or plain text"}
	}
	// One form of accented letters (Unicode Standard Annex 15, form C), so that
	// a name compares equal whatever system it was typed on.
	raw = norm.NFC.Bytes(raw)
	return strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(string(raw)), nil
}

// charset returns the encoding of raw, nil for UTF-8.
func charset(raw []byte) encoding.Encoding {
	switch {
	case bytes.HasPrefix(raw, []byte{0xff, 0xfe}):
		return unicode.UTF16(unicode.LittleEndian, unicode.UseBOM)
	case bytes.HasPrefix(raw, []byte{0xfe, 0xff}):
		return unicode.UTF16(unicode.BigEndian, unicode.UseBOM)
	}
	// Without a byte-order mark: in UTF-16 of mostly Western text the high bytes
	// are zero, and text in other encodings has no zeros.
	var zeros [2]int
	for i, b := range raw {
		if b == 0 {
			zeros[i%2]++
		}
	}
	switch half := len(raw) / 2; {
	case zeros[0] == 0 && zeros[1] > half*3/4:
		return unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM)
	case zeros[1] == 0 && zeros[0] > half*3/4:
		return unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM)
	case !utf8.Valid(raw):
		return charmap.Windows1252
	}
	return nil
}
