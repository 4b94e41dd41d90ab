package wavfile

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	goriff "github.com/go-audio/riff"
	"github.com/go-audio/wav"
)

func TestBextStartTime(t *testing.T) {
	for _, r := range []struct {
		name       string
		date, time string
		ref        uint64
		rate       int
		want       string // "" = none
	}{
		// 23:30:00 at 48 and 96 kHz, as worked out from the layout of Tech 3285.
		{"time reference, 48 kHz", "2031-05-02", "23:30:00", 4060800000, 48000, "2031-05-02T23:30:00Z"},
		{"time reference, 96 kHz", "2031-05-02", "", 1<<32 + 3826632704, 96000, "2031-05-02T23:30:00Z"},
		{"time reference is exact", "2031-05-02", "10:00:00", 48000*36000 + 12000, 48000, "2031-05-02T10:00:00.25Z"},
		{"time reference counts on past midnight", "2031-05-02", "", 48000 * 90000, 48000, "2031-05-03T01:00:00Z"},
		{"time reference is rubbish", "2031-05-02", "10:00:00", math.MaxUint64, 48000, "2031-05-02T10:00:00Z"},
		{"no rate", "2031-05-02", "10:00:00", 48000, 0, "2031-05-02T10:00:00Z"},
		{"no reference", "2031-05-02", "23:30:01", 0, 48000, "2031-05-02T23:30:01Z"},
		{"other separators", "2031:05:02", "23-30-01", 0, 48000, "2031-05-02T23:30:01Z"},
		{"no time", "2031-05-02", "", 0, 48000, "2031-05-02T00:00:00Z"},
		{"time out of range", "2031-05-02", "25:00:00", 0, 48000, "2031-05-02T00:00:00Z"},
		{"no date", "", "23:30:00", 4060800000, 48000, ""},
		{"date out of range", "2031-02-30", "23:30:00", 0, 48000, ""},
		{"date of zeros", "0000-00-00", "23:30:00", 0, 48000, ""},
		{"date of letters", "2o31-05-02", "23:30:00", 0, 48000, ""},
	} {
		b := &Bext{OriginationDate: r.date, OriginationTime: r.time, TimeReference: r.ref}
		got, ok := b.StartTime(r.rate)
		if ok != (r.want != "") || ok && got.Format(time.RFC3339Nano) != r.want {
			t.Errorf("%s: %v, %v; want %q", r.name, got, ok, r.want)
		}
	}
}

// Offsets from EBU Tech 3285 v2, each field found at its place.
func TestBextLayout(t *testing.T) {
	m := fullMeta()
	m.Bext.TimeReference = 1<<32 + 2
	b := appendBext(nil, m.Bext)
	for at, want := range map[int]string{
		0: "Evening at the Granary\x00", 256: "Rig B\x00", 288: "NRB0007\x00", 320: "2031-05-02", 330: "23:30:00",
		338: "\x02\x00\x00\x00\x01\x00\x00\x00", 346: "\x02\x00", 348: "\x01\x02\x03\x00",
		412: "\x03\xF7\xEE\x02\xFF\x7F\xF8\xF8\xF1\xD8", // -2301, 750, unused, -1800, -9999
		422: strings.Repeat("\x00", 180), 602: "A=PCM",
	} {
		if got := string(b[at:][:len(want)]); got != want {
			t.Errorf("at %d: %q, want %q", at, got, want)
		}
	}
}

func TestBextVersions(t *testing.T) {
	b := appendBext(nil, fullMeta().Bext)
	for version, want := range map[byte]struct{ umid, loudness bool }{0: {}, 1: {umid: true}, 2: {true, true}, 3: {true, true}} {
		b[346] = version
		x, err := parseBext(b)
		if err != nil || (x.UMID[0] != 0) != want.umid || (x.Loudness != nil) != want.loudness {
			t.Errorf("version %d: %+v, %v", version, x, err)
		}
	}
	for name, x := range map[string]struct {
		b    Bext
		want uint16
	}{
		"plain":    {Bext{}, 0},
		"UMID":     {Bext{UMID: [64]byte{1}}, 1},
		"loudness": {Bext{Loudness: &BextLoudness{}}, 2},
		"later":    {Bext{Version: 7}, 7},
	} {
		if got := appendBext(nil, &x.b)[346]; got != byte(x.want) {
			t.Errorf("%s: version %d, want %d", name, got, x.want)
		}
	}
	// Version 2 without values says "unused", not 0 LUFS.
	if got := appendBext(nil, &Bext{Version: 2})[412:414]; !bytes.Equal(got, []byte{0xFF, 0x7F}) {
		t.Errorf("unused loudness is % x", got)
	}
}

func TestTextFields(t *testing.T) {
	for in, want := range map[string]string{
		"Kick\x00rubbish": "Kick", "Kick   ": "Kick", "Caf\xe9": "Café", "Café": "Café", "": "",
	} {
		if got := text([]byte(in)); got != want {
			t.Errorf("%q is read as %q, want %q", in, got, want)
		}
	}
	for in, want := range map[string]string{"abcd": "abcd", "abcde": "abcd", "abcé": "abc\x00", "ab": "ab\x00\x00", "a\x00bc": "a\x00\x00\x00"} {
		if got := string(appendField(nil, in, 4)); got != want {
			t.Errorf("%q in 4 bytes is %q, want %q", in, got, want)
		}
	}
}

func TestIXML(t *testing.T) {
	const doc = "\ufeff<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<BWFXML><IXML_VERSION>1.5</IXML_VERSION><PROJECT> Granary &amp; Co </PROJECT>" +
		"<SCENE>1</SCENE><TAKE>2</TAKE><TAPE>3</TAPE><NOTE/><X><PROJECT>no</PROJECT></X><PROJECT>second</PROJECT>" +
		"<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>" +
		"<TRACK><CHANNEL_INDEX>17</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Kick In</NAME><FUNCTION>MIX</FUNCTION></TRACK>" +
		"<TRACK><CHANNEL_INDEX>x</CHANNEL_INDEX><INTERLEAVE_INDEX>-2</INTERLEAVE_INDEX><NAME>&lt;Ün&#x65E5;&gt;</NAME></TRACK>" +
		"</TRACK_LIST></BWFXML>\x00\x00"
	x, err := parseIXML([]byte(doc))
	if err != nil {
		t.Fatal(err)
	}
	want := &IXML{Project: "Granary & Co", Scene: "1", Take: "2", Tape: "3", Raw: strings.TrimRight(doc, "\x00"),
		Tracks: []IXMLTrack{{17, 1, "Kick In", "MIX"}, {0, 0, "<Ün日>", ""}}}
	if !reflect.DeepEqual(x, want) {
		t.Errorf("got %+v\nwant %+v", x, want)
	}
	// The text as found is what is written, unknown elements and all.
	if got := string(appendIXML(nil, x)); got != x.Raw {
		t.Errorf("written as %q", got)
	}
	// Without it the fields are.
	x.Raw = ""
	y, err := parseIXML(appendIXML(nil, x))
	if err != nil {
		t.Fatal(err)
	}
	y.Raw = ""
	if !reflect.DeepEqual(x, y) {
		t.Errorf("fields %+v are read back as %+v", x, y)
	}
}

func TestIXMLBroken(t *testing.T) {
	for name, r := range map[string]struct {
		doc   string
		bad   bool
		named int // tracks read all the same
	}{
		"empty":         {"\x00\x00 ", false, 0},
		"cut":           {"<BWFXML><TRACK_LIST><TRACK><NAME>A</NAME></TRACK><TRACK><NA", true, 2},
		"8859-1":        {"<?xml version=\"1.0\" encoding=\"ISO-8859-1\"?><BWFXML><TRACK_LIST><TRACK><NAME>\xe9</NAME></TRACK></TRACK_LIST></BWFXML>", false, 1},
		"deep":          {strings.Repeat("<a>", 100), true, 0},
		"many tracks":   {"<B><TRACK_LIST>" + strings.Repeat("<TRACK/>", 5000), true, maxXMLTracks},
		"not XML":       {"kick, snare, hat", false, 0},
		"entity expand": {"<!DOCTYPE a [<!ENTITY b \"bbbb\"><!ENTITY c \"&b;&b;\">]><B><PROJECT>&c;</PROJECT></B>", false, 0},
	} {
		x, err := parseIXML([]byte(r.doc))
		if (err != nil) != r.bad {
			t.Errorf("%s: error %v", name, err)
		}
		if x == nil {
			x = &IXML{}
		}
		if len(x.Tracks) != r.named {
			t.Errorf("%s: %d tracks, want %d", name, len(x.Tracks), r.named)
		}
	}
}

func TestCues(t *testing.T) {
	point := func(id, pos, offset int64) []byte {
		return join(u32(id), u32(pos), []byte("data"), u32(0), u32(0), u32(offset))
	}
	labl := func(kind string, id int64, s string) []byte { return chunk(kind, u32(id), []byte(s+"\x00")) }
	ltxt := func(id, length int64, s string) []byte {
		return chunk("ltxt", u32(id), u32(length), []byte("rgn \x00\x00\x00\x00\x00\x00\x00\x00"), []byte(s))
	}
	cue := func(points ...[]byte) []byte { return chunk("cue ", u32(int64(len(points))), join(points...)) }
	adtl := func(entries ...[]byte) []byte { return chunk("LIST", []byte("adtl"), join(entries...)) }
	data := chunk("data", loud(100))

	for _, r := range []struct {
		name   string
		chunks [][]byte
		want   []Cue
	}{
		{"labels after", [][]byte{data, cue(point(2, 9, 9), point(1, 4, 4)), adtl(labl("labl", 1, "One"), labl("labl", 2, "Two"))},
			[]Cue{{1, 4, 0, "One"}, {2, 9, 0, "Two"}}},
		{"labels before", [][]byte{adtl(labl("labl", 1, "One")), cue(point(1, 4, 4)), data}, []Cue{{1, 4, 0, "One"}}},
		{"position alone", [][]byte{cue(point(1, 7, 0)), data}, []Cue{{1, 7, 0, ""}}},
		{"sample offset alone", [][]byte{cue(point(1, 0, 7)), data}, []Cue{{1, 7, 0, ""}}},
		{"note", [][]byte{cue(point(1, 4, 4)), adtl(labl("note", 1, "N"), ltxt(1, 30, "T")), data}, []Cue{{1, 4, 30, "N"}}},
		{"label before note", [][]byte{cue(point(1, 4, 4)), adtl(labl("note", 1, "N"), labl("labl", 1, "L")), data}, []Cue{{1, 4, 0, "L"}}},
		{"range text", [][]byte{cue(point(1, 4, 4)), adtl(ltxt(1, 30, "T")), data}, []Cue{{1, 4, 30, "T"}}},
		{"range without a point", [][]byte{adtl(ltxt(1, 30, "T")), data}, nil},
		{"cut", [][]byte{chunk("cue ", u32(3), point(1, 4, 4), point(2, 5, 5)[:20]), data}, []Cue{{1, 4, 0, ""}}},
		{"pad bytes forgotten in the list", [][]byte{cue(point(1, 4, 4), point(2, 5, 5)),
			adtl(sized("labl", 7, u32(1), []byte("ab\x00")), sized("labl", 7, u32(2), []byte("cd\x00"))), data}, []Cue{{1, 4, 0, "ab"}, {2, 5, 0, "cd"}}},
	} {
		in := parse(t, riffFile(append([][]byte{fmtChunk(mono16)}, r.chunks...)...))
		if !reflect.DeepEqual(in.Meta.Cues, r.want) {
			t.Errorf("%s: %+v, want %+v", r.name, in.Meta.Cues, r.want)
		}
	}
}

func TestCueIDsAreMadeUsable(t *testing.T) {
	for _, cues := range [][]Cue{
		{{Frame: 5, Label: "a"}, {Frame: 6, Label: "b"}},
		{{ID: 3, Frame: 5, Label: "a"}, {ID: 3, Frame: 6, Label: "b"}},
		{{ID: 9, Frame: 5, Label: "a"}, {ID: 4, Frame: 6, Label: "b"}},
	} {
		before := append([]Cue{}, cues...)
		in, _ := readAll(t, writeFile(t, Options{}, mono16, Meta{Cues: cues}, nil))
		got := in.Meta.Cues
		if len(got) != 2 || got[0].Label != "a" || got[1].Label != "b" || got[0].ID == got[1].ID || got[0].ID == 0 {
			t.Errorf("%+v are read back as %+v", cues, got)
		}
		if !reflect.DeepEqual(before, cues) {
			t.Error("the caller's cues have changed")
		}
	}
}

// A single cue without an id gets one: 0 would tie it to nothing.
func TestCueIDZero(t *testing.T) {
	in, _ := readAll(t, writeFile(t, Options{}, mono16, Meta{Cues: []Cue{{Frame: 5, Label: "a"}}}, nil))
	if want := []Cue{{ID: 1, Frame: 5, Label: "a"}}; !reflect.DeepEqual(in.Meta.Cues, want) {
		t.Errorf("%+v, want %+v", in.Meta.Cues, want)
	}
}

// Why INFO lists are parsed by us: go-audio's decoder drops entries that it
// does not know and all adtl lists. When this fails, look whether it can be
// used after all.
func TestGoAudioListDecoderIsNotEnough(t *testing.T) {
	for name, body := range map[string][]byte{
		"unknown id": join([]byte("INFO"), chunk("IPLT", []byte("x\x00"))),
		"adtl":       join([]byte("adtl"), chunk("labl", u32(1), []byte("x\x00"))),
	} {
		d := &wav.Decoder{}
		err := wav.DecodeListChunk(d, &goriff.Chunk{ID: wav.CIDList, Size: len(body), R: bytes.NewReader(body)})
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if d.Metadata != nil && !reflect.DeepEqual(*d.Metadata, wav.Metadata{}) {
			t.Errorf("%s is decoded now: %+v", name, d.Metadata)
		}
	}
}
