package wavfile

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
)

// harmed is one row of TestHarmedFiles.
type harmed struct {
	name       string
	file       []byte
	frames     int64  // -1: refused
	says       string // parts of the problems told, in order, "|" between them; "" for none
	unfinished bool
}

// second48 is a second of audio that no chunk can be taken from.
func second48() []byte {
	r := rand.New(rand.NewPCG(7, 48))
	b := make([]byte, 96_000)
	for i := 0; i < len(b); i += 2 { // 16-bit noise, so loud that no sample is 0
		b[i], b[i+1] = byte(0x80|r.IntN(0x80)), byte(0x80|r.IntN(0x80))
	}
	return b
}

// fmtOf builds a fmt chunk of any fields.
func fmtOf(tag, channels int, rate, average int64, align, bits int) []byte {
	return chunk("fmt ", u16(tag), u16(channels), u32(rate), u32(average), u16(align), u16(bits))
}

// floats builds samples of 32 or 64 bit.
func floats(bits int, x ...float64) (b []byte) {
	for len(b) < 20_000*bits/8 {
		for _, v := range x {
			if bits == 64 {
				b = append(b, u64(int64(math.Float64bits(v)))...)
			} else {
				b = append(b, u32(int64(math.Float32bits(float32(v))))...)
			}
		}
	}
	return b[:20_000*bits/8]
}

// extensible builds an extensible fmt chunk of 40 bytes for stereo, 16 bit.
func extensibleFmt(guid string) []byte {
	return chunk("fmt ", u16(tagExtensible), u16(2), u32(48000), u32(192000), u16(4), u16(16), u16(22), u16(16), u32(0), u16(tagPCM), []byte(guid))
}

// harmedHeaders are files whose sizes or order are wrong.
func harmedHeaders() []harmed {
	f, a := fmtChunk(mono16), second48()
	whole, half := chunk("data", a), chunk("data", a[:48_000])
	list := chunk("LIST", []byte("INFO"), chunk("INAM", []byte("x\x00")))
	cutList := sized("LIST", 900, []byte("INFO"), chunk("INAM", []byte("x\x00")))
	return []harmed{
		{"intact", riffFile(f, whole), 48000, "", false},
		{"riffsize0", withRIFFSize(riffFile(f, whole), 0), 48000, "RIFF size 0", true},
		{"riffsizeFFFF", withRIFFSize(riffFile(f, whole), noSize), 48000, "never filled in", true},
		{"datasize0", riffFile(f, sized("data", 0, a)), 48000, "data size is 0", true},
		{"datasizeFFFF", riffFile(f, sized("data", noSize, a)), 48000, "never filled in", true},
		{"bothzero", withRIFFSize(riffFile(f, sized("data", 0, a)), 0), 48000, "RIFF size 0|data size is 0", true},
		{"datasize_half_no_more", withRIFFSize(riffFile(f, sized("data", 48_000, a)), 48_036), 48000, "ends inside the audio|the audio goes on", true},
		{"datasize_half, RIFF size right", riffFile(f, sized("data", 48_000, a)), 48000, "the audio goes on", true},
		{"datasize_big", riffFile(f, sized("data", 200_000, a)), 48000, "holds 96000", true},
		{"cut_mid", withRIFFSize(riffFile(f, sized("data", 96_000, a[:50_000])), 96_036), 25000, "RIFF size covers|holds 50000", true},
		{"cut_in_header", riffFile(f, whole)[:30], -1, "no usable fmt chunk", false},
		{"trailing_list_cut", riffFile(f, whole, cutList), 48000, "runs past the end", false},
		{"list_before_data_datasize0", riffFile(f, list, sized("data", 0, a)), 48000, "data size is 0", true},
		{"junk_between", riffFile(f, chunk("JUNK", make([]byte, 4096)), whole), 48000, "", false},
		{"odd_unpadded", riffFile(sized("abcd", 3, []byte("xyz")), f, whole), 48000, "pad byte missing", false},
		{"two_data", riffFile(f, half, half), 24000, "a second data chunk", false},
		{"data_before_fmt", riffFile(whole, f), 48000, "", false},
		{"blockalign0", riffFile(fmtOf(1, 1, 48000, 96000, 0, 16), whole), 48000, "block align of 0", false},
		{"blockalign_wrong", riffFile(fmtOf(1, 1, 48000, 96000, 7, 16), whole), 48000, "block align of 7", false},
		{"rate0", riffFile(fmtOf(1, 1, 0, 0, 2, 16), whole), -1, "sample rate 0 Hz", false},
		{"ch0", riffFile(fmtOf(1, 0, 48000, 0, 0, 16), whole), -1, "0 channels", false},
		{"ch65535", riffFile(fmtOf(1, 65535, 48000, 0, 0, 16), whole), -1, "65535 channels", false},
		{"avgbytes_wrong", riffFile(fmtOf(1, 1, 48000, 12, 2, 16), whole), 48000, "", false},
		{"garbage_tail", append(riffFile(f, whole), second48()[:1000]...), 48000, "1000 bytes after the last chunk; ignored", false},
		{"zero_tail_4k", append(riffFile(f, whole), make([]byte, 4096)...), 48000, "4096 bytes after the last chunk; ignored", false},
		{"text tail", append(riffFile(f, whole), bytes.Repeat([]byte("song, start, end\n"), 3000)...), 48000, "RIFF size covers|song chunk of 1953701932 bytes runs past the end", false},
		{"frame_partial", riffFile(f, chunk("data", a[:48_001])), 24000, "last frame has 1 of 2 bytes", false},
		{"prealloc_zero_tail", withRIFFSize(riffFile(f, sized("data", 0, a, make([]byte, 200_000))), 0), 148_000, "RIFF size 0|data size is 0", true},
		{"extensible", riffFile(extensibleFmt(guidTail), whole), 24000, "", false},
		{"ext_badguid", riffFile(extensibleFmt("somebody else."), whole), -1, "sub-format", false},
		{"ext_short_fmt", riffFile(fmtOf(tagExtensible, 2, 48000, 192000, 4, 16), whole), 24000, "extensible format of 16 bytes, 40 needed; 16-bit PCM assumed", false},
		{"float32", riffFile(fmtOf(3, 1, 48000, 192000, 4, 32), chunk("data", floats(32, 0.5, -0.25))), 20000, "", false},
		{"float_nan_inf", riffFile(fmtOf(3, 1, 48000, 192000, 4, 32), chunk("data", floats(32, math.NaN(), math.Inf(1), 0.5))), 20000, "", false},
		{"float64_huge", riffFile(fmtOf(3, 1, 48000, 384000, 8, 64), chunk("data", floats(64, 1e300, -1e300))), 20000, "", false},
		{"alaw", riffFile(fmtOf(6, 1, 48000, 48000, 1, 8), whole), -1, "format tag 0x0006", false},
		{"empty_data", riffFile(f, chunk("data")), 0, "", false},
		{"one_frame", riffFile(f, chunk("data", a[:2])), 1, "", false},
		{"rifx", append([]byte("RIFX"), riffFile(f, whole)[4:]...), -1, "big-endian RIFX", false},
		{"header_zeroed", append(make([]byte, 44), a...), -1, "not a WAV file", false},
	}
}

// harmedRF64 are files with 64-bit sizes, and some that were about to get them.
func harmedRF64() []harmed {
	f, a := fmtChunk(mono16), second48()
	open := sized("data", noSize, a)
	ds64 := func(riff, data int64, table int64) []byte {
		return chunk("ds64", u64(riff), u64(data), u64(0), u32(table))
	}
	rf64 := func(chunks ...[]byte) []byte {
		return join([]byte("RF64"), u32(noSize), []byte("WAVE"), join(chunks...))
	}
	riff := int64(4 + 36 + len(f) + len(open))
	return []harmed{
		{"rf64_ok", rf64File("RF64", -1, 96_000, f, open), 48000, "", false},
		{"bw64_ok", rf64File("BW64", -1, 96_000, f, open), 48000, "", false},
		{"rf64_ds0", rf64File("RF64", 0, 0, f, open), 48000, "never filled in|data size is 0", true},
		{"rf64_dsmax", rf64File("RF64", -1, -1, f, open), 48000, "holds 96000", true},
		{"rf64_ds_small", rf64File("RF64", -1, 1000, f, open), 48000, "data size is 1000, but the audio goes on", true},
		{"rf64_ds_neg", rf64File("RF64", -1, math.MinInt64, f, open), 48000, "holds 96000", true},
		{"rf64_no_ds64", rf64(f, open), 48000, "never filled in", true},
		{"rf64_table_huge", rf64(ds64(riff, 96_000, noSize), f, open), 48000, "", false},
		{"rf64_data32", rf64File("RF64", -1, 0, f, chunk("data", a)), 48000, "", false},
		{"rf64_cut", rf64File("RF64", -1, 96_000, f, open)[:60_000], 29960, "RIFF size covers|holds", true},
		{"rf64_ds64_not_first", rf64(f, ds64(riff, 96_000, 0), open), 48000, "", false},
		{"riff_junk_for_ds64_datasize0", riffFile(chunk("JUNK", make([]byte, 28)), f, sized("data", 0, a)), 48000, "data size is 0", true},
		{"riff_bigsizes_wrapped", riffFile(chunk("ds64", u64(riff), u64(96_000), u64(0), u32(0)), f, chunk("data", a)), 48000, "", false},
	}
}

// harmedMeta are files whose other chunks are wrong, hostile or too many.
func harmedMeta() []harmed {
	f, whole := fmtChunk(mono16), chunk("data", second48())
	bext := func(date string, reference int64, more int) []byte {
		b := make([]byte, 602+more)
		copy(b[320:], date)
		copy(b[338:], u64(reference))
		return b
	}
	ixml := func(text string) []byte { return chunk("iXML", []byte("<?xml version=\"1.0\"?>"+text)) }
	var tracks, cues, nested bytes.Buffer
	for i := range 5000 {
		fmt.Fprintf(&tracks, "<TRACK><CHANNEL_INDEX>%d</CHANNEL_INDEX><NAME>t</NAME></TRACK>", i)
	}
	for i := range 10_000 {
		cues.Write(join(u32(int64(i)), u32(int64(i)), []byte("data"), u32(0), u32(0), u32(int64(i))))
	}
	for range 200 {
		nested.WriteString("LIST\x00\x10\x00\x00INFO")
	}
	bomb := `<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;">]><BWFXML><PROJECT>&b;</PROJECT></BWFXML>`
	return []harmed{
		{"bext_huge", riffFile(f, chunk("bext", bext("2031-05-02", 0, 2<<20)), whole), 48000, "the first", false},
		{"bext_sizeFFFF", riffFile(sized("bext", noSize, bext("2031-05-02", 0, 0)), f, whole), 48000, "bext chunk of 4294967295 bytes runs past the end of the file; read up to the next chunk, at byte 622", false},
		{"bext of a size past the end, with chunks' names in its text", riffFile(f, sized("bext", 1<<30, bext("2031-05-02", 0, 0), []byte("data rate 48k, LISTed, fmt 16")), whole), 48000, "read up to the next chunk", false},
		{"bext_short", riffFile(f, chunk("bext", []byte("hello")), whole), 48000, "602 needed", false},
		{"bext_ref_max", riffFile(f, chunk("bext", bext("2031-05-02", -1, 0)), whole), 48000, "", false},
		{"bext_date_bad", riffFile(f, chunk("bext", bext("2031-99-99", 0, 0)), whole), 48000, "", false},
		{"ixml_bomb", riffFile(f, ixml(bomb), whole), 48000, "", false},
		{"ixml_deep", riffFile(f, ixml(strings.Repeat("<a>", 20_000)), whole), 48000, "iXML", false},
		{"ixml_manytracks", riffFile(f, ixml("<BWFXML><TRACK_LIST>"+tracks.String()+"</TRACK_LIST></BWFXML>"), whole), 48000, "iXML", false},
		{"ixml_xxe", riffFile(f, ixml(`<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><BWFXML><PROJECT>&e;</PROJECT></BWFXML>`), whole), 48000, "", false},
		{"cue_count_huge", riffFile(f, chunk("cue ", u32(noSize)), whole), 48000, "after 0 points", false},
		{"cue_1M", riffFile(f, chunk("cue ", u32(1<<20), cues.Bytes()), whole), 48000, "after 10000 points", false},
		{"list_nested", riffFile(f, chunk("LIST", []byte("INFO"), nested.Bytes()), whole), 48000, "LIST", false},
		{"info_entry_huge", riffFile(f, chunk("LIST", []byte("INFO"), sized("INAM", noSize, []byte("x"))), whole), 48000, "LIST", false},
		{"chunks_100k", riffFile(f, bytes.Repeat(chunk("abcd"), 100_000), whole), 48000, "", false},
		{"junk_100k", riffFile(f, bytes.Repeat(join(make([]byte, 8), chunk("junk", make([]byte, 2))), 100_000), whole), 0, "8 bytes that are no chunk; passed over", true},
		{"chunkid_nul", riffFile(f, sized("\x00\x00\x00\x00", 16, make([]byte, 16)), whole), 48000, "24 bytes that are no chunk; passed over", false},
		{"zeros_before_data", riffFile(f, make([]byte, 512), whole), 48000, "512 bytes that are no chunk; passed over", false},
		{"zeros before fmt", riffFile(make([]byte, 512), f, whole), 48000, "512 bytes that are no chunk; passed over", false},
	}
}

// Files that recorders, power cuts, disks and malice leave, or might: how many
// frames are read, and which problems are told. The frames of rows that other
// readers know too are those of FFmpeg, libsndfile or sox, where one of them reads
// as much; where sizes contradict each other, what follows decides.
func TestHarmedFiles(t *testing.T) {
	rows := append(append(harmedHeaders(), harmedRF64()...), harmedMeta()...)
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			in, err := Parse(bytes.NewReader(r.file), int64(len(r.file)))
			runtime.ReadMemStats(&after)
			if grown := after.TotalAlloc - before.TotalAlloc; grown > 16<<20 {
				t.Errorf("%d bytes were allocated", grown)
			}
			if r.frames < 0 {
				if err == nil || !strings.Contains(err.Error(), r.says) {
					t.Errorf("got %+v, %v; want an error with %q", in, err, r.says)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			if x := in.Meta.IXML; x != nil && (len(x.Project) > 100 || strings.Contains(x.Project, ":")) {
				t.Errorf("an entity was expanded: %.200s", x.Project)
			}
			told := ""
			for _, p := range in.Repairs {
				told += fmt.Sprintf("%s (at byte %d)\n", p.Problem, p.Offset)
			}
			if in.Frames != r.frames || in.Unfinished != r.unfinished || (r.says == "") != (told == "") {
				t.Errorf("%d frames, unfinished %v, told %s\nwant %d, %v", in.Frames, in.Unfinished, told, r.frames, r.unfinished)
			}
			rest := told
			for _, part := range strings.Split(r.says, "|") {
				_, after, ok := strings.Cut(rest, part)
				if !ok {
					t.Errorf("told %s\nwant %q", told, r.says)
				}
				rest = after
			}
		})
	}
	t.Run("sparse4g_datasize0", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "x.wav")
		if err := os.WriteFile(path, riffFile(fmtChunk(mono16), sized("data", 0)), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(path, 44+5<<30); err != nil {
			t.Skipf("no sparse files here: %v", err)
		}
		f, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		if in := f.Info(); in.Frames != 5<<29 || !in.Unfinished || len(in.Repairs) == 0 {
			t.Errorf("%d frames, unfinished %v, %+v", in.Frames, in.Unfinished, in.Repairs)
		}
	})
}
