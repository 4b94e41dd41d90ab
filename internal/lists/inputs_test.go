package lists

import (
	"bytes"
	"errors"
	"reflect"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"nightreel/catalog"
)

func dB(g float64) *float64 { return &g }

func in(track int, channel string, gain *float64, group, notes string) catalog.Input {
	return catalog.Input{Track: track, Channel: channel, GainDB: gain, Group: group, Notes: notes}
}

func TestReadInputs(t *testing.T) {
	two := []catalog.Input{in(1, "Kick In", dB(24), "Drums", "gate"), in(2, "Bass DI", dB(-3.5), "", "")}
	for _, c := range []struct {
		name, text string
		want       []catalog.Input
	}{
		{"plain", "track,channel,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"another order and case", "NOTES,Gain,CHANNEL,group,TRACK\ngate,24,Kick In,Drums,1\n,-3.5,Bass DI,,2\n", two},
		{"synonyms", "#,Source,Preamp,Grp,Comment\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"ch and name", "Ch.,Name,Gain (dB),Section,Remarks\n1,Kick In,24 dB,Drums,gate\n2,Bass DI,\u22123.5dB,,\n", two},
		{"channel is the number beside name", "Channel,Name,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"channel is the number beside source", "Channel,Source,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"input is the number beside channel", "Input,Channel,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"input is the number beside source", "Input,Source,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n", two},
		{"channel before source", "Track,Channel,Source,gain,group,notes\n1,Kick In,in the drum,24,Drums,gate\n2,Bass DI,,-3.5,,\n", two},
		{"semicolons, decimal comma, mark, CRLF", "\ufeffChannel;Track;Group;Gain;Notes\r\nKick In;1;Drums;24,0;gate\r\nBass DI;2;;-3,5;\r\n", two},
		{"tabs and an empty cell", "track\tchannel\tgain\tgroup\tnotes\n1\tKick In\t24\tDrums\tgate\n2\tBass DI\t-3.5\t\t\n", two},
		{"an empty cell between tabs", "track\tchannel\tgain\tgroup\tnotes\n7\tHat\t\t\tbright\n", []catalog.Input{in(7, "Hat", nil, "", "bright")}},
		{"letters put together, as one system writes them", "track,channel\n7,Zoe\u0308\n", []catalog.Input{in(7, "Zo\u00eb", nil, "", "")}},
		{"old line ends", "track,channel,gain,group,notes\r1,Kick In,24,Drums,gate\r2,Bass DI,-3.5,,\r", two},
		{"title above, blank lines", "Some tour,,,,\n\n;;\ntrack,channel,gain,group,notes\n\n1,Kick In,24,Drums,gate\n,,,,\n2,Bass DI,-3.5,,\n", two},
		{"unknown columns", "track,stand,channel,gain,group,notes\n1,short,Kick In,24,Drums,gate\n2,,Bass DI,-3.5,,\n", two},
		{"out of order", "track,channel,gain,group,notes\n2,Bass DI,-3.5,,\n01,Kick In,+24.0,Drums,gate\n", two},
		{"whole numbers as spreadsheets write them", "track;channel;gain;group;notes\n1.0;Kick In;24;Drums;gate\n2,00;Bass DI;-3,5;;\n", two},
		{"unused tracks", "track,channel,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5,,\n3,,,,spare\n4,,-,,\n", two},
		{"short rows", "track,channel,gain,group,notes\n1,Kick In,24,Drums,gate\n2,Bass DI,-3.5\n", two},
		{"quoted", "track,channel,notes\n7,\"Vocal, lead\",\"12\"\" stand\nleft of centre\"\n", []catalog.Input{in(7, "Vocal, lead", nil, "", `12" stand left of centre`)}},
		{"quoted after a space", "track, channel\n7, \"Vocal\"\n", []catalog.Input{in(7, "Vocal", nil, "", "")}},
		{"gain not known", "track,channel,gain\n1,Kick,\n2,Snare,–\n", []catalog.Input{in(1, "Kick", nil, "", ""), in(2, "Snare", nil, "", "")}},
		{"terminal commands are dropped", "track,channel\n1,\x1b[31mKick\u200e\n", []catalog.Input{in(1, "[31mKick", nil, "", "")}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadInputs(strings.NewReader(c.text), "inputs.csv")
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("got  %+v\nwant %+v", got, c.want)
			}
		})
	}
}

func TestReadInputsRefuses(t *testing.T) {
	for _, c := range []struct {
		name, text string
		line       int
		column     string
		says       string // what the message must contain
	}{
		{"empty", "", 0, "", "headings"},
		{"no headings", "1,Kick\n2,Snare\n", 0, "", "headings"},
		{"no column for the channel", "track,gain\n1,20\n", 0, "", "channel"},
		{"nothing below", "track,channel\n\n", 1, "", "below"},
		{"no track number", "track,channel\n1,Kick\n,Snare\n", 3, "track", "missing"},
		{"track 0", "track,channel\n0,Kick\n", 2, "track", `"0"`},
		{"track in words", "Trk,Name\none,Kick\n", 2, "Trk", `"one"`},
		{"a pair in one line", "track,channel\n5-6,Overheads\n", 2, "track", `"5-6"`},
		{"too large a number", "track,channel\n100000,Kick\n", 2, "track", `"100000"`},
		{"gain in words", "track,channel,Gain\n1,Kick,a lot\n", 2, "Gain", `"a lot"`},
		{"gain infinite", "track,channel,Gain\n1,Kick,inf\n", 2, "Gain", `"inf"`},
		{"gain with exponent", "track,channel,Gain\n1,Kick,1e1\n", 2, "Gain", `"1e1"`},
		{"gain out of reach", "track,channel,Gain\n1,Kick,320\n", 2, "Gain", `"320"`},
		{"gain without channel", "track,channel,gain\n1,,30\n", 2, "channel", "missing"},
		{"track twice", "track,channel\n1,Kick\n2,Snare\n1,Hat\n", 4, "track", "line 2"},
		{"channel twice", "track,channel\n1,Vocal L\n2,Snare\n3,VOCAL-L\n", 4, "channel", "line 2"},
		{"heading twice", "track,channel,track,channel\n1,Kick,25,Keys\n", 1, "track", "two columns"},
		{"decimal comma between commas", "track,channel,gain\n1,Kick,32,5\n", 2, "", `"5"`},
		{"quote not closed", "track,channel\n1,Kick\n2,\"Snare\n3,Hat\n", 3, "", "quotation"},
		{"quote in a field", "track,channel\n1,12\" cabinet\n", 2, "", "quotation"},
		{"quote above the headings", "the 12\" list\ntrack,channel\n1,Kick\n", 1, "", "quotation"},
		{"line numbers go on over a quoted line end", "track,channel,notes\n1,Kick,\"a\nb\"\nx,Snare,\n", 4, "track", `"x"`},
		{"a spreadsheet's own file", "PK\x03\x04\x00\x00\x00track,channel\n", 0, "", "text"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadInputs(strings.NewReader(c.text), "inputs.csv")
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v, %v; want *Error", got, err)
			}
			if e.Line != c.line || e.Column != c.column {
				t.Errorf("line %d, column %q; want %d, %q", e.Line, e.Column, c.line, c.column)
			}
			if msg := err.Error(); !strings.HasPrefix(msg, "inputs.csv: ") || !strings.Contains(msg, c.says) {
				t.Errorf("%s: does not name the file and %q", msg, c.says)
			}
			if e.Hint() == "" {
				t.Error("no hint")
			}
		})
	}
}

func TestNoHeadingsShowsWhatIsUnderstood(t *testing.T) {
	_, err := ReadInputs(strings.NewReader("1,Kick\n"), "inputs.csv")
	var e *Error
	if !errors.As(err, &e) {
		t.Fatal(err)
	}
	for _, r := range inputRoles() {
		for _, h := range r.headings {
			if !strings.Contains(e.Hint(), h) {
				t.Errorf("the hint does not show %q: %s", h, e.Hint())
			}
		}
	}
}

func TestCharsets(t *testing.T) {
	const text = "track;channel\r\n1;Gesang – Zoë\r\n2;Café\r\n"
	want := []catalog.Input{in(1, "Gesang – Zoë", nil, "", ""), in(2, "Café", nil, "", "")}
	encode := func(b []byte, err error) []byte {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for name, raw := range map[string][]byte{
		"UTF-8":                 []byte(text),
		"UTF-8 with mark":       []byte("\ufeff" + text),
		"Windows-1252":          encode(charmap.Windows1252.NewEncoder().Bytes([]byte(text))),
		"UTF-16LE with mark":    encode(unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().Bytes([]byte(text))),
		"UTF-16BE with mark":    encode(unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder().Bytes([]byte(text))),
		"UTF-16LE without mark": encode(unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().Bytes([]byte(text))),
		"UTF-16BE without mark": encode(unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM).NewEncoder().Bytes([]byte(text))),
	} {
		t.Run(name, func(t *testing.T) {
			got, err := ReadInputs(bytes.NewReader(raw), name)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("got %+v, want %+v", got, want)
			}
		})
	}
}

// endless is a reader without end.
type endless struct{ read int64 }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	e.read += int64(len(p))
	return len(p), nil
}

func TestTooLong(t *testing.T) {
	r := &endless{}
	_, err := ReadInputs(r, "endless.csv")
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v, want *Error", err)
	}
	if r.read > 2*maxBytes {
		t.Errorf("%d bytes read", r.read)
	}
}

func TestReadFails(t *testing.T) {
	broken := errors.New("the drive is gone")
	_, err := ReadInputs(errReader{broken}, "inputs.csv")
	if !errors.Is(err, broken) {
		t.Errorf("got %v, want it to wrap %v", err, broken)
	}
}

type errReader struct{ err error }

func (e errReader) Read([]byte) (int, error) { return 0, e.err }

func TestInputsRoundTrip(t *testing.T) {
	want := []catalog.Input{
		in(1, "Kick, In", dB(24.25), "Drums", `"gate"; slow`),
		in(2, "Zoë – lead", dB(-0.1), "", ""),
		in(40, "=1+1", nil, "a;b", "ends here"),
	}
	var b bytes.Buffer
	if err := WriteInputs(&b, want); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "'=1+1") {
		t.Errorf("a spreadsheet would run a name: %s", b.String())
	}
	got, err := ReadInputs(&b, "written")
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}
