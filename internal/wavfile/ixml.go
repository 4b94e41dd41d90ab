package wavfile

import (
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Bounds of an iXML text that is believed: deeper or longer lists than any
// recorder writes.
const (
	maxXMLDepth  = 32
	maxXMLTracks = 4096
)

// parseIXML reads the elements this house uses. An error does not mean that
// nothing was read: Raw and what came before the fault are there.
func parseIXML(b []byte) (*IXML, error) {
	raw := strings.TrimRight(string(b), "\x00")
	if strings.Trim(raw, "\x00 \t\r\n") == "" {
		return nil, nil
	}
	x := &IXML{Raw: raw}
	src := strings.TrimPrefix(raw, "\ufeff")
	if !utf8.ValidString(src) {
		src = latin1(src)
	}
	if err := x.read(src); err != nil {
		return x, fmt.Errorf("%w: %v; the rest of its elements is passed over", errChunk, err)
	}
	return x, nil
}

func (x *IXML) read(src string) error {
	d := xml.NewDecoder(strings.NewReader(src))
	d.Strict = false
	d.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil } // it is UTF-8 by now
	var (
		path []string
		text strings.Builder
	)
	for {
		t, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.StartElement:
			if len(path) == maxXMLDepth {
				return fmt.Errorf("elements nested more than %d deep", maxXMLDepth)
			}
			path = append(path, t.Name.Local)
			text.Reset()
			if len(path) == 3 && isTrack(path) {
				if len(x.Tracks) == maxXMLTracks {
					return fmt.Errorf("more than %d tracks", maxXMLTracks)
				}
				x.Tracks = append(x.Tracks, IXMLTrack{})
			}
		case xml.CharData:
			text.Write(t)
		case xml.EndElement:
			if len(path) > 0 {
				x.set(path, strings.TrimSpace(text.String()))
				path = path[:len(path)-1]
			}
			text.Reset()
		}
	}
}

func isTrack(path []string) bool { return path[1] == "TRACK_LIST" && path[2] == "TRACK" }

// set stores the text of the element at path; the first of several counts.
func (x *IXML) set(path []string, s string) {
	var at *string
	switch {
	case len(path) == 2:
		at = map[string]*string{"PROJECT": &x.Project, "SCENE": &x.Scene, "TAPE": &x.Tape,
			"TAKE": &x.Take, "NOTE": &x.Note}[path[1]]
	case len(path) == 4 && isTrack(path):
		tr := &x.Tracks[len(x.Tracks)-1]
		switch path[3] {
		case "NAME":
			at = &tr.Name
		case "FUNCTION":
			at = &tr.Function
		case "CHANNEL_INDEX":
			setIndex(&tr.ChannelIndex, s)
		case "INTERLEAVE_INDEX":
			setIndex(&tr.InterleaveIndex, s)
		}
	}
	if at != nil && *at == "" {
		*at = s
	}
}

func setIndex(at *int, s string) {
	if n, err := strconv.ParseInt(s, 10, 32); err == nil && n > 0 && *at == 0 {
		*at = int(n)
	}
}

// appendIXML appends the text of an iXML chunk: Raw as it is where there is
// one, else the fields.
func appendIXML(b []byte, x *IXML) []byte {
	if x.Raw != "" {
		return append(b, x.Raw...)
	}
	var s strings.Builder
	element := func(indent, name, value string) {
		if value == "" {
			return
		}
		s.WriteString(indent + "<" + name + ">")
		// Writing to a Builder cannot fail; characters that XML forbids become
		// U+FFFD.
		_ = xml.EscapeText(&s, []byte(value))
		s.WriteString("</" + name + ">\n")
	}
	index := func(n int) string {
		if n <= 0 {
			return ""
		}
		return strconv.Itoa(n)
	}
	s.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML>\n")
	element("  ", "PROJECT", x.Project)
	element("  ", "SCENE", x.Scene)
	element("  ", "TAPE", x.Tape)
	element("  ", "TAKE", x.Take)
	element("  ", "NOTE", x.Note)
	if len(x.Tracks) > 0 {
		s.WriteString("  <TRACK_LIST>\n")
		element("    ", "TRACK_COUNT", strconv.Itoa(len(x.Tracks)))
		for _, t := range x.Tracks {
			s.WriteString("    <TRACK>\n")
			element("      ", "CHANNEL_INDEX", index(t.ChannelIndex))
			element("      ", "INTERLEAVE_INDEX", index(t.InterleaveIndex))
			element("      ", "NAME", t.Name)
			element("      ", "FUNCTION", t.Function)
			s.WriteString("    </TRACK>\n")
		}
		s.WriteString("  </TRACK_LIST>\n")
	}
	s.WriteString("</BWFXML>\n")
	return append(b, s.String()...)
}
