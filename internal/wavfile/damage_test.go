package wavfile

import (
	"bytes"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
)

// bigFile is a file of any size that holds the given pieces and otherwise
// bytes no chunk id can consist of.
type bigFile struct {
	size   int64
	pieces map[int64][]byte
	reads  int
}

func (b *bigFile) ReadAt(p []byte, at int64) (int, error) {
	b.reads++
	n := int(max(0, min(int64(len(p)), b.size-at)))
	for i := range p[:n] {
		p[i] = 0x85
	}
	for off, piece := range b.pieces {
		for i, c := range piece {
			if j := off + int64(i) - at; j >= 0 && j < int64(n) {
				p[j] = c
			}
		}
	}
	if n < len(p) {
		return n, io.EOF
	}
	return n, nil
}

// loud is audio of n bytes that looks like no chunk and is not silent.
func loud(n int) []byte { return bytes.Repeat([]byte{0x85, 0x11, 0xE3}, n/3+1)[:n] }

// The rows are the damage that recorders, power cuts and copying leave behind.
// The rules are this house's own. head is everything before the audio of a
// mono 16-bit file: 44 bytes.
func TestDamagedHeaders(t *testing.T) {
	f := fmtChunk(mono16)
	audio := loud(1000)
	list := chunk("LIST", []byte("INFO"), chunk("INAM", []byte("x\x00")))
	second := mono16.SampleRate * 2

	type row struct {
		name       string
		file       []byte
		frames     int64
		unfinished bool
		repairs    []int64 // offsets, in order
		says       string  // part of the first repair
		title      string  // INAM found
	}
	for _, r := range []row{
		{"in order", riffFile(f, chunk("data", audio)), 500, false, nil, "", ""},
		{"chunks after the audio", riffFile(f, chunk("data", audio), list), 500, false, nil, "", "x"},
		{"data before fmt", riffFile(chunk("data", audio), list, f), 500, false, nil, "", "x"},
		{"no audio", riffFile(f, chunk("data")), 0, false, nil, "", ""},
		{"no audio, but chunks after it", riffFile(f, chunk("data"), list), 0, false, nil, "", "x"},

		// Sizes never filled in.
		{"RIFF size 0, data size 0", withRIFFSize(riffFile(f, sized("data", 0, audio)), 0),
			500, true, []int64{4, 36}, "RIFF size 0", ""},
		{"RIFF size 8, data size 0", withRIFFSize(riffFile(f, sized("data", 0, audio)), 8),
			500, true, []int64{4, 36}, "RIFF size covers 16", ""},
		{"RIFF size 36, data size 0", withRIFFSize(riffFile(f, sized("data", 0, audio)), 36),
			500, true, []int64{4, 36}, "ends inside the audio", ""},
		{"RIFF size right, data size 0", riffFile(f, sized("data", 0, audio)),
			500, true, []int64{36}, "data size is 0", ""},
		{"both sizes 0xFFFFFFFF", withRIFFSize(riffFile(f, sized("data", noSize, audio)), noSize),
			500, true, []int64{4, 36}, "never filled in", ""},
		{"data size right, RIFF size 0", withRIFFSize(riffFile(f, chunk("data", audio)), 0),
			500, true, []int64{4}, "RIFF size 0", ""},
		{"RIFF size 0 and no audio yet", withRIFFSize(riffFile(f, chunk("data")), 0),
			0, true, []int64{4}, "RIFF size 0", ""},
		{"RIFF size ends inside the audio", withRIFFSize(riffFile(f, chunk("data", audio)), 500),
			500, true, []int64{4}, "ends inside the audio", ""},
		{"RIFF size leaves out the last chunk", withRIFFSize(riffFile(f, chunk("data", audio), list), 1036),
			500, false, []int64{4}, "RIFF size covers", "x"},
		{"RIFF size too large", withRIFFSize(riffFile(f, chunk("data", audio)), 5000),
			500, false, []int64{4}, "RIFF size covers 5008 bytes, the file has 1044", ""},
		{"no data chunk", riffFile(f), 0, true, []int64{36}, "no data chunk", ""},

		// More or less audio than declared.
		{"data size past the end", riffFile(f, sized("data", 1002, audio)),
			500, true, []int64{36}, "data size is 1002, the file holds 1000", ""},
		{"data size 0xFFFFFFFE", riffFile(f, sized("data", noSize-1, audio)),
			500, true, []int64{36}, "file holds 1000", ""},
		{"cut inside a frame", riffFile(f, sized("data", 1000, audio[:999])),
			499, true, []int64{36, 1042}, "file holds 999", ""},
		{"data size is no whole frames", riffFile(f, chunk("data", audio[:999])),
			499, false, []int64{1042}, "last frame has 1 of 2", ""},
		{"audio goes on for a second and more", withRIFFSize(riffFile(f, chunk("data", audio), loud(second)), 1036),
			int64(500 + second/2), true, []int64{4, 36}, "ends inside the audio", ""},

		// RF64 and BW64.
		{"RF64", rf64File("RF64", -1, 1000, f, sized("data", noSize, audio)), 500, false, nil, "", ""},
		{"BW64", rf64File("BW64", -1, 1000, f, sized("data", noSize, audio), list), 500, false, nil, "", "x"},
		{"RF64, data size in its own chunk", rf64File("RF64", -1, 0, f, chunk("data", audio)), 500, false, nil, "", ""},
		{"RF64, ds64 all zero", rf64File("RF64", 0, 0, f, sized("data", noSize, audio)),
			500, true, []int64{20, 72}, "never filled in", ""},
		{"RF64, ds64 says more than there is", rf64File("RF64", -1, 1<<40, f, sized("data", noSize, audio)),
			500, true, []int64{72}, "file holds 1000", ""},
		{"RF64, ds64 says all bits set", rf64File("RF64", -1, -1, f, sized("data", noSize, audio)),
			500, true, []int64{72}, "file holds 1000", ""},
		{"RF64, ds64 says less than there is", rf64File("RF64", -1, 1000, f, sized("data", noSize, audio, loud(second))),
			int64(500 + second/2), true, []int64{72}, "the audio goes on", ""},
		{"RF64, ds64 counts the pad byte", join([]byte("RF64"), u32(noSize), []byte("WAVE"),
			chunk("ds64", u64(36+24+8+4+4), u64(4), u64(3), u32(0)), fmtChunk(Format{48000, 1, 8, 1, PCM}), sized("data", noSize, []byte{1, 2, 3, 0})),
			3, false, []int64{28}, "counts the pad byte", ""},
		{"RF64 without ds64", join([]byte("RF64"), u32(noSize), []byte("WAVE"), f, sized("data", noSize, audio)),
			500, true, []int64{36}, "never filled in", ""},
		{"RF64 with a ds64 cut short", join([]byte("RF64"), u32(noSize), []byte("WAVE"), chunk("ds64", u64(5)), f, sized("data", noSize, audio)),
			500, true, []int64{12, 52}, "8 bytes, 28 needed", ""},
		{"RIFF that was about to become RF64",
			withRIFFSize(join([]byte("RIFF"), rf64File("RF64", -1, 1000, f, sized("data", noSize, audio))[4:]), 0),
			500, true, []int64{4}, "RIFF size 0", ""},

		// Pad bytes.
		{"odd chunk with its pad byte", riffFile(chunk("abcd", []byte("xyz")), f, chunk("data", audio)), 500, false, nil, "", ""},
		{"odd chunk before fmt, pad byte missing", riffFile(sized("abcd", 3, []byte("xyz")), f, chunk("data", audio)),
			500, false, []int64{23}, "pad byte missing", ""},
		{"pad byte missing, and the wrong place looks like an id", riffFile(f, chunk("data", audio), sized("abcd", 3, []byte("xyz")),
			sized("LIST", ' ', []byte("INFO"), chunk("INAM", []byte("x"), make([]byte, 19)))),
			500, false, []int64{1055}, "pad byte missing", "x"},
		{"odd data, pad byte missing", riffFile(f, sized("data", 999, audio[:999]), list),
			499, false, []int64{1042, 1043}, "last frame", "x"},
		{"odd data at the end, pad byte missing", riffFile(f, sized("data", 999, audio[:999])),
			499, false, []int64{1042}, "last frame", ""},
		{"pad byte that is not zero", riffFile(sized("abcd", 3, []byte("xyz?")), f, chunk("data", audio)), 500, false, nil, "", ""},

		// What lies behind.
		{"zeros at the end", append(riffFile(f, chunk("data", audio)), make([]byte, 2*second)...),
			500, false, []int64{1044}, "192000 bytes after the last chunk", ""},
		{"some bytes at the end", append(riffFile(f, chunk("data", audio), list), 0x85, 1, 2),
			500, false, []int64{1066}, "3 bytes after the last chunk", "x"},
		{"128 bytes of tag at the end", append(riffFile(f, chunk("data", audio)), append([]byte("TAG\x00"), make([]byte, 124)...)...),
			500, false, []int64{1044}, "128 bytes", ""},
		{"a long tag at the end", append(riffFile(f, chunk("data", audio)), append([]byte("ID3\x03"), loud(second)...)...),
			500, false, []int64{1044}, "96004 bytes", ""},

		// Other chunks.
		{"last chunk cut", riffFile(f, chunk("data", audio), sized("LIST", 900, []byte("INFO"), chunk("INAM", []byte("x\x00")))),
			500, false, []int64{1044}, "runs past the end", "x"},
		{"two data chunks", riffFile(f, chunk("data", audio), chunk("data", audio[:10]), list),
			500, false, []int64{1044}, "second data chunk of 10", "x"},
		{"two fmt chunks", riffFile(f, fmtChunk(stereo24), chunk("data", audio)), 500, false, []int64{36}, "second one", ""},
		{"bext cut short", riffFile(f, chunk("bext", []byte("hello")), chunk("data", audio)), 500, false, []int64{36}, "602 needed", ""},
		{"iXML that is none", riffFile(f, chunk("iXML", []byte("<BWFXML><a")), chunk("data", audio)), 500, false, []int64{36}, "iXML", ""},
		{"cue chunk claiming more than it has", riffFile(f, chunk("cue ", u32(1000)), chunk("data", audio)), 500, false, []int64{36}, "after 0 points", ""},
		{"block align 0", riffFile(chunk("fmt ", u16(1), u16(1), u32(48000), u32(0), u16(0), u16(16)), chunk("data", audio)),
			500, false, []int64{12}, "block align of 0", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			in := parse(t, r.file)
			var at []int64
			for _, p := range in.Repairs {
				at = append(at, p.Offset)
			}
			if in.Frames != r.frames || in.Unfinished != r.unfinished || !slices.Equal(at, r.repairs) {
				t.Errorf("frames %d, unfinished %v, repairs %+v\nwant %d, %v, at %v",
					in.Frames, in.Unfinished, in.Repairs, r.frames, r.unfinished, r.repairs)
			}
			if len(in.Repairs) > 0 && !strings.Contains(in.Repairs[0].Problem, r.says) {
				t.Errorf("first repair %q does not say %q", in.Repairs[0].Problem, r.says)
			}
			if in.Meta.Tags["INAM"] != r.title {
				t.Errorf("title %q, want %q", in.Meta.Tags["INAM"], r.title)
			}
			if end := in.DataOffset + in.Frames*int64(in.Format.FrameBytes()); end > int64(len(r.file)) {
				t.Errorf("audio ends at %d in a file of %d bytes", end, len(r.file))
			}
		})
	}
}

// 64 channels of 24 bit: frames of 192 bytes, the first at byte 44+24 = 68.
func TestPast4GiB(t *testing.T) {
	f := Format{SampleRate: 48000, Channels: 64, BitDepth: 24, ContainerBytes: 3}
	const frames = 27_962_026 // 5.0 GiB
	const audio = int64(frames * 192)
	list := chunk("LIST", []byte("INFO"), chunk("ICMT", loud(1000))) // five frames, if taken for audio
	head := func(size int64) []byte {
		return join([]byte("RIFF"), u32(audio+60), []byte("WAVE"), fmtChunk(f), sized("data", size))
	}
	// Where junk follows, no end can be told from another, and all is read.
	for _, r := range []struct {
		name       string
		size, tail int64
		pieces     map[int64][]byte
		frames     int64
		unfinished bool
	}{
		{"size wrapped", audio, 0, map[int64][]byte{0: head(audio)}, frames, true},
		{"size wrapped, chunks behind", audio, int64(len(list)), map[int64][]byte{0: head(audio), 68 + audio: list}, frames, true},
		{"size wrapped, junk behind", audio, 100, map[int64][]byte{0: head(audio)}, frames, true},
		{"size 0xFFFFFFFE", noSize - 1, 0, map[int64][]byte{0: head(noSize - 1)}, frames, true},
		{"size 0xFFFFFFFF", noSize, 0, map[int64][]byte{0: head(noSize)}, frames, true},
		{"size 0", 0, 0, map[int64][]byte{0: head(0)}, frames, true},
		{"RF64", audio, 0, map[int64][]byte{0: rf64File("RF64", audio+36+60, audio, fmtChunk(f), sized("data", noSize))}, frames, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := int64(len(r.pieces[0]))
			b := &bigFile{size: h + audio + r.tail, pieces: r.pieces}
			in, err := Parse(b, b.size)
			if err != nil {
				t.Fatal(err)
			}
			if in.Frames != r.frames || in.Unfinished != r.unfinished {
				t.Errorf("frames %d, unfinished %v, repairs %+v", in.Frames, in.Unfinished, in.Repairs)
			}
			if b.reads > 200 {
				t.Errorf("%d reads: the audio was searched", b.reads)
			}
		})
	}
}

// A file is read up to its last whole frame while it grows, and further the
// next time.
func TestGrowingFile(t *testing.T) {
	whole := withRIFFSize(riffFile(fmtChunk(stereo24), sized("data", 0, loud(6*1000))), 0)
	for size := int64(44 + 24); size <= int64(len(whole)); size++ {
		in, err := Parse(bytes.NewReader(whole), size)
		if err != nil {
			t.Fatal(err)
		}
		if want := (size - 68) / 6; in.Frames != want || !in.Unfinished {
			t.Fatalf("%d bytes: %d frames, unfinished %v; want %d", size, in.Frames, in.Unfinished, want)
		}
	}
}

func TestUnreadable(t *testing.T) {
	data := chunk("data", loud(100))
	fm := func(tag, ch int, rate int64, bits int) []byte {
		return chunk("fmt ", u16(tag), u16(ch), u32(rate), u32(0), u16(ch*((bits+7)/8)), u16(bits))
	}
	for _, r := range []struct {
		name string
		file []byte
		want error
	}{
		{"empty", nil, ErrEmpty},
		{"one byte", []byte("R"), ErrNotWAV},
		{"11 bytes", []byte("RIFF\x00\x00\x00\x00WAV"), ErrNotWAV},
		{"text", []byte("this is a letter to somebody"), ErrNotWAV},
		{"zeros", make([]byte, 4096), ErrNotWAV},
		{"other RIFF form", []byte("RIFF\x04\x00\x00\x00AVI "), ErrNotWAV},
		{"big-endian", []byte("RIFX\x00\x00\x00\x04WAVE"), ErrUnsupported},
		{"no chunks", riffFile(), ErrNoFormat},
		{"no fmt", riffFile(data), ErrNoFormat},
		{"no fmt, data size 0", riffFile(sized("data", 0, loud(100))), ErrNoFormat},
		{"fmt of 14 bytes", riffFile(chunk("fmt ", make([]byte, 14)), data), ErrNoFormat},
		{"extensible fmt of 18 bytes", riffFile(chunk("fmt ", u16(tagExtensible), make([]byte, 16)), data), ErrNoFormat},
		{"compressed", riffFile(fm(0x55, 2, 48000, 16), data), ErrUnsupported},
		{"sub-format unknown", riffFile(chunk("fmt ", u16(tagExtensible), u16(1), u32(48000), u32(0), u16(2), u16(16), u16(22), u16(16), u32(0), make([]byte, 16)), data), ErrUnsupported},
		{"sub-format of somebody else's", riffFile(chunk("fmt ", u16(tagExtensible), u16(1), u32(48000), u32(0), u16(2), u16(16), u16(22), u16(16), u32(0), u16(tagPCM), make([]byte, 14)), data), ErrUnsupported},
		{"no channels", riffFile(fm(1, 0, 48000, 16), data), ErrUnsupported},
		{"257 channels", riffFile(fm(1, 257, 48000, 16), data), ErrUnsupported},
		{"rate 0", riffFile(fm(1, 1, 0, 16), data), ErrUnsupported},
		{"rate 4 GHz", riffFile(fm(1, 1, noSize, 16), data), ErrUnsupported},
		{"64-bit integers", riffFile(fm(1, 1, 48000, 64), data), ErrUnsupported},
		{"16-bit float", riffFile(fm(3, 1, 48000, 16), data), ErrUnsupported},
	} {
		t.Run(r.name, func(t *testing.T) {
			in, err := Parse(bytes.NewReader(r.file), int64(len(r.file)))
			if !errors.Is(err, r.want) || in != nil {
				t.Fatalf("got %+v, %v; want %v", in, err, r.want)
			}
			var e *Error
			if !errors.As(err, &e) || e.Hint() == "" {
				t.Errorf("%#v is no *Error with a hint", err)
			}
			for _, other := range []error{ErrEmpty, ErrNotWAV, ErrNoFormat, ErrUnsupported} {
				if other != r.want && errors.Is(err, other) {
					t.Errorf("%v is also %v", err, other)
				}
			}
		})
	}
}

// failingAt gives a disk error for every read that touches the given byte.
type failingAt struct {
	io.ReaderAt
	bad int64
}

var errDisk = errors.New("input/output error")

func (f failingAt) ReadAt(p []byte, at int64) (int, error) {
	if at <= f.bad && f.bad < at+int64(len(p)) {
		return 0, errDisk
	}
	return f.ReaderAt.ReadAt(p, at)
}

// A bad sector behind the audio must not cost the audio; one in front must be
// said.
func TestBadSector(t *testing.T) {
	file := riffFile(fmtChunk(mono16), chunk("data", loud(1000)), chunk("abcd"), chunk("LIST", []byte("INFO")))
	for _, r := range []struct {
		bad    int64
		frames int64
	}{{0, -1}, {20, -1}, {38, -1}, {1046, 500}, {1062, 500}} {
		in, err := Parse(failingAt{bytes.NewReader(file), r.bad}, int64(len(file)))
		switch {
		case r.frames < 0 && !errors.Is(err, errDisk):
			t.Errorf("byte %d: %v, want the disk's error", r.bad, err)
		case r.frames >= 0 && err != nil:
			t.Errorf("byte %d: %v", r.bad, err)
		case r.frames >= 0 && (in.Frames != r.frames || len(in.Repairs) == 0):
			t.Errorf("byte %d: %d frames, repairs %+v", r.bad, in.Frames, in.Repairs)
		}
	}
}
