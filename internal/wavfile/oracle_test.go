package wavfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/go-audio/audio"
	"github.com/go-audio/wav"
)

// The tools here are libsndfile 1.2.0 (sndfile-convert, -info, -metadata-get,
// -metadata-set), ffmpeg 5.1.9 and SoX 14.4.2, as Debian 12 carries them. What
// a tool is known to get wrong it is not asked.

const oracleFrames = 257

// What we write, other people's readers must read, sample by sample.
func TestToolsReadOurFiles(t *testing.T) {
	readers := []struct {
		tool, name string
		skip       func(form string, fm Format) string
		samples    func(t *testing.T, tool, path string) []float64
	}{
		{"sndfile-convert", "libsndfile", func(string, Format) string { return "" },
			func(t *testing.T, tool, path string) []float64 {
				out := filepath.Join(t.TempDir(), "x.au")
				run(t, tool, "-float64", path, out)
				b, err := os.ReadFile(out)
				if err != nil {
					t.Fatal(err)
				}
				return doubles(b[binary.BigEndian.Uint32(b[4:]):], binary.BigEndian)
			}},
		{"ffmpeg", "ffmpeg", func(form string, fm Format) string {
			if form == "pcm24in32" {
				return "ffmpeg 5.1.9 decodes 24 bits in 4 bytes as float"
			}
			if fm.Channels > 64 && form != "float64" {
				return "ffmpeg 5.1.9 converts samples of up to 64 channels"
			}
			return ""
		}, func(t *testing.T, tool, path string) []float64 {
			return doubles(run(t, tool, "-v", "error", "-i", path, "-f", "f64le", "-"), binary.LittleEndian)
		}},
		{"sox", "SoX", func(form string, fm Format) string {
			switch {
			case form == "pcm24in32":
				return "SoX 14.4.2 refuses padded samples"
			case fm.Encoding == Float:
				return "SoX computes with 32-bit integers"
			}
			return ""
		}, func(t *testing.T, tool, path string) []float64 {
			return doubles(run(t, tool, path, "-t", "raw", "-e", "floating-point", "-b", "64", "-"), binary.LittleEndian)
		}},
	}
	for _, r := range readers {
		t.Run(r.name, func(t *testing.T) {
			bin := tool(t, r.tool)
			eachForm(t, []int{1, 2, 3, 64, 256}, func(t *testing.T, form string, fm Format, o Options) {
				if why := r.skip(form, fm); why != "" {
					t.Skip(why)
				}
				raw := noise(fm, oracleFrames)
				want := make([]float64, oracleFrames*fm.Channels)
				fm.Decode(want, raw)
				got := r.samples(t, bin, writeFile(t, o, fm, fullMeta(), raw))
				if len(got) != len(want) {
					t.Fatalf("%d samples, want %d", len(got), len(want))
				}
				for i := range want {
					if got[i] != want[i] {
						t.Fatalf("sample %d is %v, we wrote %v", i, got[i], want[i])
					}
				}
			})
		})
	}
}

func doubles(b []byte, order binary.ByteOrder) []float64 {
	x := make([]float64, len(b)/8)
	for i := range x {
		x[i] = math.Float64frombits(order.Uint64(b[8*i:]))
	}
	return x
}

// What other people's writers write, we must read, byte by byte.
func TestWeReadToolsFiles(t *testing.T) {
	// au names the sample code of the AU format, which libsndfile takes as a
	// source that needs no WAV reader.
	au := map[string]uint32{"pcm8": 2, "pcm16": 3, "pcm24": 4, "pcm32": 5, "float32": 6, "float64": 7}
	sndfile := map[string]string{"pcm8": "-pcmu8", "pcm16": "-pcm16", "pcm24": "-pcm24", "pcm32": "-pcm32", "float32": "-float32", "float64": "-float64"}
	ffraw := map[string]string{"pcm8": "u8", "pcm16": "s16le", "pcm24": "s24le", "pcm32": "s32le", "float32": "f32le", "float64": "f64le"}

	for _, w := range []struct {
		tool, name string
		write      func(t *testing.T, tool, form string, fm Format, o Options, raw []byte, out string) (skip string)
	}{
		{"sndfile-convert", "libsndfile", func(t *testing.T, tool, form string, fm Format, o Options, raw []byte, out string) string {
			src := filepath.Join(t.TempDir(), "x.au")
			write(t, src, auFile(au[form], fm, raw))
			if o.ForceRF64 {
				final := out
				out = strings.TrimSuffix(out, ".wav") + ".rf64"
				defer func() {
					if err := os.Rename(out, final); err != nil {
						t.Fatal(err)
					}
				}()
			}
			run(t, tool, sndfile[form], src, out)
			return ""
		}},
		{"ffmpeg", "ffmpeg", func(t *testing.T, tool, form string, fm Format, o Options, raw []byte, out string) string {
			src := filepath.Join(t.TempDir(), "x.raw")
			write(t, src, raw)
			rf64 := map[bool]string{false: "never", true: "always"}[o.ForceRF64]
			run(t, tool, "-v", "error", "-f", ffraw[form], "-ar", "48000", "-ac", fmt.Sprint(fm.Channels),
				"-i", src, "-c:a", "pcm_"+ffraw[form], "-rf64", rf64, out)
			return ""
		}},
		{"sox", "SoX", func(t *testing.T, tool, form string, fm Format, o Options, raw []byte, out string) string {
			if o.ForceRF64 || fm.Encoding == Float {
				return "SoX writes no RF64 and computes with 32-bit integers"
			}
			src := filepath.Join(t.TempDir(), "x.raw")
			write(t, src, raw)
			sign := "signed"
			if form == "pcm8" {
				sign = "unsigned"
			}
			run(t, tool, "-D", "-t", "raw", "-r", "48000", "-e", sign, "-b", fmt.Sprint(fm.BitDepth),
				"-c", fmt.Sprint(fm.Channels), src, out)
			return ""
		}},
		{"", "go-audio", func(t *testing.T, _, form string, fm Format, o Options, raw []byte, out string) string {
			if o.ForceRF64 || fm.Encoding == Float || fm.Channels > 3 {
				return "go-audio writes RIFF and integers, and takes 9 MB a channel to begin"
			}
			f, err := os.Create(out)
			if err != nil {
				t.Fatal(err)
			}
			e := wav.NewEncoder(f, fm.SampleRate, fm.BitDepth, fm.Channels, 1)
			ints := make([]int, oracleFrames*fm.Channels)
			decodeInts(ints, raw, fm.ContainerBytes)
			if err := e.Write(&audio.IntBuffer{Format: &audio.Format{NumChannels: fm.Channels, SampleRate: fm.SampleRate}, Data: ints, SourceBitDepth: fm.BitDepth}); err != nil {
				t.Fatal(err)
			}
			if err := e.Close(); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
			return ""
		}},
	} {
		t.Run(w.name, func(t *testing.T) {
			bin := ""
			if w.tool != "" {
				bin = tool(t, w.tool)
			}
			eachForm(t, []int{1, 2, 3, 64, 256}, func(t *testing.T, form string, fm Format, o Options) {
				if form == "pcm24in32" {
					t.Skip("no tool here writes 24 bits in 4 bytes")
				}
				raw := noise(fm, oracleFrames)
				out := filepath.Join(t.TempDir(), "x.wav")
				if why := w.write(t, bin, form, fm, o, raw, out); why != "" {
					t.Skip(why)
				}
				in, got := readAll(t, out)
				// ffmpeg counts the pad byte of odd audio into ds64.
				repairs := 0
				if w.name == "ffmpeg" && o.ForceRF64 && len(raw)%2 == 1 {
					repairs = 1
				}
				if in.Format != fm || in.Unfinished || len(in.Repairs) != repairs {
					t.Errorf("format %+v, unfinished %v, repairs %+v\nwant %+v", in.Format, in.Unfinished, in.Repairs, fm)
				}
				if want := (map[bool]Container{false: RIFF, true: RF64})[o.ForceRF64]; in.Container != want {
					t.Errorf("container %d, want %d", in.Container, want)
				}
				if !bytes.Equal(got, raw) {
					t.Error("frames differ from what the tool was given")
				}
			})
		})
	}
}

func write(t *testing.T, path string, b []byte) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o644); err != nil {
		t.Fatal(err)
	}
}

// auFile packs little-endian samples as an AU file, which is big-endian and
// has signed bytes.
func auFile(code uint32, f Format, raw []byte) []byte {
	b := []byte(".snd")
	for _, v := range []uint32{24, uint32(len(raw)), code, uint32(f.SampleRate), uint32(f.Channels)} {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	for at := 0; at < len(raw); at += f.ContainerBytes {
		for i := f.ContainerBytes - 1; i >= 0; i-- {
			c := raw[at+i]
			if f.ContainerBytes == 1 {
				c ^= 0x80
			}
			b = append(b, c)
		}
	}
	return b
}

// go-audio's decoder is the second opinion on plain integer files.
func TestGoAudioReadsOurFiles(t *testing.T) {
	eachForm(t, []int{1, 2}, func(t *testing.T, form string, fm Format, o Options) {
		if o.ForceRF64 || fm.Encoding == Float {
			t.Skip("go-audio v1.1.0 reads neither RF64 nor float")
		}
		// An even number: its decoder takes the pad byte for a sample.
		const frames = oracleFrames - 1
		path := writeFile(t, o, fm, Meta{}, noise(fm, frames))
		r, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Close()
		theirs, err := wav.NewDecoder(r).FullPCMBuffer()
		if err != nil {
			t.Fatal(err)
		}
		f, err := Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		raw := make([]byte, frames*fm.FrameBytes())
		if n, err := f.ReadFrames(raw, 0); n != frames || err != nil {
			t.Fatalf("ReadFrames = %d, %v", n, err)
		}
		ours := make([]int, frames*fm.Channels)
		decodeInts(ours, raw, fm.ContainerBytes)
		got := f.Info().Format
		if got.Channels != theirs.Format.NumChannels || got.SampleRate != theirs.Format.SampleRate || len(ours) != len(theirs.Data) {
			t.Fatalf("ours %+v %d samples, theirs %+v %d", got, len(ours), theirs.Format, len(theirs.Data))
		}
		for i := range ours {
			if ours[i] != theirs.Data[i] {
				t.Fatalf("sample %d: ours %d, theirs %d", i, ours[i], theirs.Data[i])
			}
		}
	})
}

// Metadata that we write, in libsndfile's and ffmpeg's words.
func TestToolsReadOurMetadata(t *testing.T) {
	for _, rf64 := range []bool{false, true} {
		path := writeFile(t, Options{ForceRF64: rf64}, stereo24, fullMeta(), noise(stereo24, 101))
		for _, r := range []struct {
			args []string
			want []string
		}{
			{[]string{"sndfile-metadata-get", "--all", path}, []string{
				"Description            : Evening at the Granary", "Originator             : Rig B",
				"Origination ref        : NRB0007", "Origination date       : 2031-05-02",
				"Origination time       : 23:30:00", "Loudness value         : -23.01",
				"Loudness range         :   7.50", "Max. short term level  : -99.99",
				"Coding history         : A=PCM,F=48000,W=24"}},
			{[]string{"ffprobe", "-v", "error", "-show_chapters", "-show_format", path}, []string{
				"TAG:time_reference=4060800000", "TAG:title=First", "TAG:title=Ünder", "TAG:title=odd", "TAG:encoder=even",
				"start=48"}},
		} {
			out := string(run(t, tool(t, r.args[0]), r.args[1:]...))
			for _, s := range r.want {
				if !strings.Contains(out, s) {
					t.Errorf("RF64 %v: %s does not say %q:\n%s", rf64, r.args[0], s, out)
				}
			}
		}
		// libsndfile prints every breach of the format it meets with "***".
		if out := string(run(t, tool(t, "sndfile-info"), path)); !rf64 && strings.Contains(out, "***") {
			t.Errorf("sndfile-info complains:\n%s", out)
		}
	}
}

// Metadata that libsndfile and ffmpeg write.
func TestWeReadToolsMetadata(t *testing.T) {
	path := writeFile(t, Options{}, mono16, Meta{}, noise(mono16, 100))
	out := filepath.Join(t.TempDir(), "y.wav")
	run(t, tool(t, "sndfile-metadata-set"), "--bext-description", "Second night", "--bext-originator", "Rig A",
		"--bext-orig-date", "2031-05-03", "--bext-orig-time", "21:00:10", "--bext-time-ref", "3628800000",
		"--bext-loudness-value", "-21.5", "--str-title", "Title", path, out)
	in, _ := readAll(t, out)
	if b := in.Meta.Bext; b == nil || b.Description != "Second night" || b.Originator != "Rig A" ||
		b.OriginationDate != "2031-05-03" || b.OriginationTime != "21:00:10" || b.TimeReference != 3628800000 {
		t.Errorf("bext %+v", b)
	}
	if in.Meta.Tags["INAM"] != "Title" {
		t.Errorf("tags %v", in.Meta.Tags)
	}

	out = filepath.Join(t.TempDir(), "z.wav")
	run(t, tool(t, "ffmpeg"), "-v", "error", "-i", path, "-write_bext", "1", "-metadata", "description=Third night",
		"-metadata", "time_reference=8121600000", "-metadata", "title=Other", out)
	in, _ = readAll(t, out)
	if b := in.Meta.Bext; b == nil || b.Description != "Third night" || b.TimeReference != 8121600000 || b.Version != 1 || b.Loudness != nil {
		t.Errorf("bext %+v", b)
	}
	if in.Meta.Tags["INAM"] != "Other" {
		t.Errorf("tags %v", in.Meta.Tags)
	}
}

// decodeInts writes the integer samples of raw to dst.
func decodeInts(dst []int, raw []byte, bytes int) {
	for i := range len(raw) / bytes {
		b := raw[i*bytes:]
		switch bytes {
		case 1:
			dst[i] = int(b[0])
		case 2:
			dst[i] = int(int16(binary.LittleEndian.Uint16(b)))
		case 3:
			dst[i] = int(int24(b))
		default:
			dst[i] = int(int32(binary.LittleEndian.Uint32(b)))
		}
	}
}

// int24 returns the little-endian 24-bit integer at the start of b.
func int24(b []byte) int32 {
	_ = b[2]
	return int32(uint32(b[0])<<8|uint32(b[1])<<16|uint32(b[2])<<24) >> 8
}
