package wavfile

import (
	"bytes"
	"encoding/binary"
)

// maxSearch is how far from a place that cannot be right the next chunk is looked
// for, in bytes: more than the metadata of any recorder (chosen).
const maxSearch = 1 << 20

// maxSearched limits, in bytes, all searches of a file together.
const maxSearched = 4 << 20

// search returns where the next chunk begins at or after from, if what lies there
// is none: zeros, what a crash left, or a chunk whose size is wrong. It is called
// until the audio is found, and believes in chunks alone that belong before it.
func (p *parser) search(from int64) (at int64, found bool) {
	const overlap = 24 // a chunk's header and the format of its body
	const window = 32 << 10
	for start := from; start < min(p.size, from+maxSearch) && p.searched < maxSearched; start += window - overlap {
		b, err := p.bytes(start, window)
		p.searched += int64(len(b))
		if err != nil {
			return 0, false
		}
		for i := 0; i+8 <= len(b); i++ {
			if b[i] < 'A' || b[i] > 'j' { // the first letters of the ids
				continue
			}
			if p.begins(b[i:], start+int64(i)) {
				return start + int64(i), true
			}
		}
		if int64(len(b)) < window {
			break
		}
	}
	return 0, false
}

// begins reports whether b, at a place of the file, begins with a chunk that may
// lie before the audio and ends inside the file.
func (p *parser) begins(b []byte, at int64) bool {
	size := int64(binary.LittleEndian.Uint32(b[4:]))
	inside := size <= p.size-at-8
	switch string(b[:4]) {
	case "fmt ":
		if p.haveFmt || size < 16 || size > 64 || len(b) < 24 {
			return false
		}
		_, _, err := parseFormat(b[8:24])
		return inside && err == nil || inside && binary.LittleEndian.Uint16(b[8:]) == tagExtensible
	case "data":
		return p.haveFmt && (size == 0 || size == noSize || inside && p.endsAtChunk(at+8+size, size))
	case "bext", "iXML", "LIST", "cue ", "fact", "JUNK", "junk", "PAD ", "FLLR", "ds64":
		return inside && size > 0 && size <= maxSearch
	}
	return false
}

// endsAtChunk reports whether a chunk of a size that ends at a place is followed by
// another one or by the end of the file.
func (p *parser) endsAtChunk(end, size int64) bool {
	if end+size%2 >= p.size {
		return true
	}
	_, even, _ := p.headerAt(end + size%2)
	_, odd, _ := p.headerAt(end)
	return even || odd
}

// looksLikeText reports whether bytes are text, as of a list that somebody
// appended, and not audio.
func looksLikeText(b []byte) bool {
	printable := 0
	for _, c := range b {
		if c >= ' ' && c <= '~' || bytes.IndexByte([]byte("\t\r\n"), c) >= 0 {
			printable++
		}
	}
	return 20*printable >= 19*len(b)
}
