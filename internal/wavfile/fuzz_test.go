package wavfile

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
)

// The seeds lie in testdata/fuzz and are made by
//
//	UPDATE=1 go test ./internal/wavfile -run TestSeeds
//
// go test runs every target over its seeds; a target without seeds would test
// nothing, so they are counted.
func TestSeeds(t *testing.T) {
	update := os.Getenv("UPDATE") == "1"
	for target, seeds := range allSeeds() {
		dir := filepath.Join("testdata", "fuzz", target)
		if update {
			if err := os.MkdirAll(dir, 0o755); err != nil {
				t.Fatal(err)
			}
		}
		for i, seed := range seeds {
			path := filepath.Join(dir, fmt.Sprintf("seed-%02d", i))
			want := "go test fuzz v1\n[]byte(" + strconv.Quote(string(seed)) + ")\n"
			if update {
				write(t, path, []byte(want))
			}
			if got, err := os.ReadFile(path); err != nil || string(got) != want {
				t.Errorf("%s is missing or old: UPDATE=1 makes it again (%v)", path, err)
			}
		}
		if len(seeds) < 4 {
			t.Errorf("%s has %d seeds", target, len(seeds))
		}
	}
}

func allSeeds() map[string][][]byte {
	m := fullMeta()
	bext := appendBext(nil, m.Bext)
	ixml := appendIXML(nil, m.IXML)
	cues, _ := appendCues(nil, m.Cues)
	info, _ := appendInfo(nil, m.Tags)
	audio := loud(60)
	f := fmtChunk(stereo24)

	var headers [][]byte
	for _, form := range forms {
		fm := form.Format
		fm.Channels, fm.SampleRate = 2, 48000
		headers = append(headers, riffFile(fmtChunk(fm), chunk("data", audio)))
	}
	headers = append(headers,
		riffFile(chunk("bext", bext), chunk("iXML", ixml), cues, info, f, chunk("data", audio)),
		riffFile(chunk("data", audio), info, f),
		rf64File("RF64", -1, 60, f, sized("data", noSize, audio)),
		rf64File("BW64", 0, 0, f, sized("data", noSize, audio)),
		withRIFFSize(riffFile(f, sized("data", 0, audio)), 0),
		withRIFFSize(riffFile(f, sized("data", noSize, audio)), noSize),
		riffFile(f, sized("data", 59, audio[:59]), info),
		riffFile(sized("abcd", 3, []byte("xyz")), f, chunk("data", audio)),
		riffFile(chunk("fmt ", u16(1), u16(1), u32(8000), u32(8000), u16(1), u16(8)), sized("data", 2, loud(9000))),
	)
	return map[string][][]byte{
		"FuzzParse": headers,
		"FuzzBext":  {bext, bext[:400], append(bext, 0xE9), appendBext(nil, &Bext{Version: 2}), make([]byte, 602)},
		"FuzzIXML":  {ixml, ixml[:200], []byte("<A><TRACK_LIST><TRACK><NAME>&lt;</NAME></TRACK></TRACK_LIST></A>"), []byte("\xef\xbb\xbf<A>\xe9</A>"), []byte("<a><a><a>")},
		"FuzzCue":   {cues[8:84], cues[8:30], u32(noSize), append(u32(1), cues[12:36]...)},
		"FuzzAdtl":  {cues[96:], cues[96:120], sized("labl", 7, u32(1), []byte("ab\x00"), sized("note", 7, u32(2), []byte("cd\x00"))), sized("ltxt", noSize, u32(1))},
		"FuzzInfo":  {info[12:], info[12:20], sized("INAM", 3, []byte("ab\x00"), sized("ISFT", noSize, []byte("x"))), []byte("INAM")},
	}
}

// FuzzParse: whatever the bytes, nothing panics; the frames lie inside the
// file; reading here and there equals reading in a row; and what was parsed,
// written by us, parses equal.
func FuzzParse(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		in, err := Parse(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			if in != nil {
				t.Fatal("an error and a result")
			}
			return
		}
		size := int64(in.Format.FrameBytes())
		if in.Frames < 0 || in.DataOffset < 0 || in.DataOffset+in.Frames*size > int64(len(b)) {
			t.Fatalf("%d frames of %d bytes at %d in %d bytes", in.Frames, size, in.DataOffset, len(b))
		}
		if err := in.Format.Check(); err != nil {
			t.Fatal(err)
		}
		if again, err := Parse(bytes.NewReader(b), int64(len(b))); err != nil || !sameInfo(in, again) {
			t.Fatal("parsed differently the second time")
		}

		path := filepath.Join(t.TempDir(), "x.wav")
		if err := os.WriteFile(path, b, 0o644); err != nil {
			t.Fatal(err)
		}
		raw := readEverySecondFrame(t, path, in)
		if want := b[in.DataOffset:][:len(raw)]; !bytes.Equal(raw, want) {
			t.Fatal("frames read here and there differ from the file")
		}

		w, err := Create(path+"2", in.Format, in.Meta)
		if err != nil {
			if len(b) < maxTextChunk/2 { // beyond, ISO 8859-1 may grow past the limit
				t.Fatal(err)
			}
			return
		}
		if err := w.WriteFrames(raw); err != nil {
			t.Fatal(err)
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		out, got := readAll(t, path+"2")
		if !bytes.Equal(got, raw) || out.Format != in.Format || out.Unfinished || len(out.Repairs) > 0 && !brokenRaw(in.Meta) {
			t.Fatalf("written and read again: %+v\nfirst %+v", out, in)
		}
		if fits(in.Meta) && !sameMeta(sameIDs(in.Meta), sameIDs(out.Meta)) {
			t.Fatalf("metadata, written and read again\n%+v %+v\nfirst\n%+v %+v", out.Meta, out.Meta.Bext, in.Meta, in.Meta.Bext)
		}
	})
}

// readEverySecondFrame reads the even frames, then the odd ones.
func readEverySecondFrame(t *testing.T, path string, in *Info) []byte {
	f, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	size := int64(in.Format.FrameBytes())
	raw := make([]byte, in.Frames*size)
	for start := range int64(2) {
		for i := start; i < in.Frames; i += 2 {
			if n, err := f.ReadFrames(raw[i*size:][:size], i); n != 1 || err != nil {
				t.Fatalf("frame %d: %d, %v", i, n, err)
			}
		}
	}
	if n, err := f.ReadFrames(make([]byte, size), in.Frames); n != 0 || err != io.EOF {
		t.Fatalf("frame past the end: %d, %v", n, err)
	}
	return raw
}

func sameInfo(a, b *Info) bool {
	x, y := *a, *b
	x.Meta, y.Meta = Meta{}, Meta{}
	return reflect.DeepEqual(x, y) && sameMeta(a.Meta, b.Meta)
}

// brokenRaw reports whether the iXML text is faulty by itself; it is written as
// it was found.
func brokenRaw(m Meta) bool {
	if m.IXML == nil {
		return false
	}
	_, err := parseIXML([]byte(m.IXML.Raw))
	return err != nil
}

// fits reports whether the texts of bext fit their fields: ISO 8859-1 grows as
// it becomes UTF-8.
func fits(m Meta) bool {
	b := m.Bext
	return b == nil || len(b.Description) <= 256 && len(b.Originator) <= 32 && len(b.OriginatorReference) <= 32 &&
		len(b.OriginationDate) <= 10 && len(b.OriginationTime) <= 8
}

// sameIDs takes out the cue ids, which are made unique in writing.
func sameIDs(m Meta) Meta {
	cues := append([]Cue(nil), m.Cues...)
	for i := range cues {
		cues[i].ID = 0
	}
	m.Cues = cues
	return m
}

func FuzzBext(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		x, _ := parseBext(b)
		x.StartTime(48000)
		m := Meta{Bext: x}
		y, err := parseBext(appendBext(nil, x))
		if err != nil {
			t.Fatal(err)
		}
		if fits(m) && !sameMeta(m, Meta{Bext: y}) {
			t.Fatalf("written and read again: %+v, first %+v", y, x)
		}
	})
}

func FuzzIXML(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		x, err := parseIXML(b)
		if x == nil {
			if err != nil {
				t.Fatal("an error without a text")
			}
			return
		}
		if got := string(appendIXML(nil, x)); got != strings.TrimRight(string(b), "\x00") {
			t.Fatal("the text is not written as it was found")
		}
		x.Raw = ""
		y, err := parseIXML(appendIXML(nil, x))
		if err != nil {
			t.Fatal(err)
		}
		y.Raw = ""
		if !reflect.DeepEqual(x, y) {
			t.Fatalf("fields written and read again: %+v, first %+v", y, x)
		}
	})
}

func FuzzCue(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		var c cueSheet
		c.parseCue(b[:min(len(b), maxCueChunk)])
		checkCues(t, c.cues())
	})
}

func FuzzAdtl(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		var c cueSheet
		c.parseAdtl(b)
		for id := range c.labels {
			c.points = append(c.points, Cue{ID: id})
		}
		for id := range c.regions {
			c.points = append(c.points, Cue{ID: id, Frame: 1})
		}
		checkCues(t, c.cues())
	})
}

// checkCues writes cues and reads them again.
func checkCues(t *testing.T, cues []Cue) {
	b, err := appendCues(nil, cues)
	if err != nil {
		t.Fatal(err)
	}
	in := parse(t, riffFile(fmtChunk(mono16), b, chunk("data")))
	want := sameIDs(Meta{Cues: cues}).Cues
	if got := sameIDs(in.Meta).Cues; len(want) > 0 && !reflect.DeepEqual(got, want) || len(in.Repairs) > 0 {
		t.Fatalf("written and read again: %+v, first %+v; %+v", got, want, in.Repairs)
	}
}

func FuzzInfo(f *testing.F) {
	f.Fuzz(func(t *testing.T, b []byte) {
		tags, _ := parseInfo(nil, b)
		c, err := appendInfo(nil, tags)
		if err != nil {
			t.Fatal(err)
		}
		if len(c) == 0 && len(tags) == 0 {
			return
		}
		again, err := parseInfo(nil, c[12:])
		if err != nil || !reflect.DeepEqual(tags, again) {
			t.Fatalf("written and read again: %q, first %q; %v", again, tags, err)
		}
	})
}
