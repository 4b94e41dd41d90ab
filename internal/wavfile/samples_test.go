package wavfile

import (
	"bytes"
	"math"
	"testing"
)

// Expected values: division by 2^(bits-1), as libsndfile does.
func TestDecodeValues(t *testing.T) {
	f64 := func(x float64) []byte { return u64(int64(math.Float64bits(x))) }
	f32 := func(x float32) []byte { return u32(int64(math.Float32bits(x))) }
	for _, r := range []struct {
		form string
		raw  []byte
		want []float64
	}{
		{"pcm8", []byte{0, 128, 255, 129}, []float64{-1, 0, 127.0 / 128, 1.0 / 128}},
		{"pcm16", []byte{0, 0x80, 0, 0, 0xFF, 0x7F, 0xFF, 0xFF}, []float64{-1, 0, 32767.0 / 32768, -1.0 / 32768}},
		{"pcm24", []byte{0, 0, 0x80, 0xFF, 0xFF, 0x7F, 1, 0, 0, 0xFF, 0xFF, 0xFF}, []float64{-1, 8388607.0 / 8388608, 1.0 / 8388608, -1.0 / 8388608}},
		{"pcm24in32", []byte{0, 0, 0, 0x80, 0, 1, 0, 0, 1, 0, 0, 0}, []float64{-1, 1.0 / 8388608, 1.0 / (1 << 31)}},
		{"pcm32", []byte{0, 0, 0, 0x80, 0xFF, 0xFF, 0xFF, 0x7F}, []float64{-1, 2147483647.0 / 2147483648}},
		{"float32", join(f32(0.5), f32(-3)), []float64{0.5, -3}},
		{"float64", join(f64(0.1), f64(math.Inf(1))), []float64{0.1, math.Inf(1)}},
	} {
		t.Run(r.form, func(t *testing.T) {
			f := form(r.form)
			got := make([]float64, len(r.want)+3)
			if n := f.Decode(got, append(r.raw, 0)[:len(r.raw)]); n != len(r.want) {
				t.Fatalf("%d samples, want %d", n, len(r.want))
			}
			for i, x := range r.want {
				if got[i] != x {
					t.Errorf("sample %d is %v, want %v", i, got[i], x)
				}
			}
			if n := f.Decode(got[:1], r.raw); n != 1 {
				t.Errorf("room for one sample: %d", n)
			}
			if n := f.Decode(got, r.raw[:f.ContainerBytes-1]); n != 0 {
				t.Errorf("less than a sample: %d", n)
			}
		})
	}
}

func form(name string) Format {
	for _, f := range forms {
		if f.name == name {
			f.Channels, f.SampleRate = 1, 48000
			return f.Format
		}
	}
	panic("no form " + name)
}

func TestEncodeRoundsAndClamps(t *testing.T) {
	const lsb = 1.0 / (1 << 15)
	f := form("pcm16")
	src := []float64{0, 0.49 * lsb, 0.51 * lsb, 0.5 * lsb, 1.5 * lsb, -0.51 * lsb, // to nearest, ties to even
		1 - lsb, 1, 1 - 0.4*lsb, -1, -1 - 0.4*lsb, // 1 is one step too much
		1.5, -1.5, math.Inf(1), math.Inf(-1), math.NaN()}
	want := []int16{0, 0, 1, 0, 2, -1, 32767, 32767, 32767, -32768, -32768, 32767, -32768, 32767, -32768, 0}
	dst := make([]byte, 2*len(src))
	if n := f.Encode(dst, src); n != 7 {
		t.Errorf("%d clamped, want 7", n)
	}
	for i, x := range want {
		if got := int16(uint16(dst[2*i]) | uint16(dst[2*i+1])<<8); got != x {
			t.Errorf("%v becomes %d, want %d", src[i], got, x)
		}
	}
	for _, form := range forms {
		if form.Encoding == Float {
			if n := form.Encode(make([]byte, 80), []float64{7, -7}); n != 0 {
				t.Errorf("%s: %d clamped", form.name, n)
			}
		}
	}
	// 24 bits in 4 bytes keep the low byte zero.
	f = form("pcm24in32")
	dst = make([]byte, 4)
	f.Encode(dst, []float64{0.123456789})
	if dst[0] != 0 || bytes.Equal(dst, make([]byte, 4)) {
		t.Errorf("24 in 32: % x", dst)
	}
}

// Every 8- and 16-bit sample, and many of the others, survive a decode and an
// encode.
func TestEncodeUndoesDecode(t *testing.T) {
	for _, form := range forms {
		var raw []byte
		switch form.ContainerBytes {
		case 1:
			for v := range 1 << 8 {
				raw = append(raw, byte(v))
			}
		case 2:
			for v := range 1 << 16 {
				raw = append(raw, byte(v), byte(v>>8))
			}
		default:
			fm := form.Format
			fm.Channels = 1
			raw = noise(fm, 50_000)
		}
		x := make([]float64, len(raw)/form.ContainerBytes)
		form.Decode(x, raw)
		got := make([]byte, len(raw))
		if n := form.Encode(got, x); n != 0 || !bytes.Equal(got, raw) {
			t.Errorf("%s: %d clamped, or bytes differ", form.name, n)
		}
	}
}

func TestFormats(t *testing.T) {
	ext := func(container, valid, tag int, align int) []byte {
		return join(u16(tagExtensible), u16(2), u32(48000), u32(0), u16(align), u16(container), u16(22), u16(valid), u32(3), u16(tag), []byte(guidTail))
	}
	plain := func(tag, align, bits int) []byte {
		return join(u16(tag), u16(2), u32(48000), u32(0), u16(align), u16(bits))
	}
	for _, r := range []struct {
		name        string
		body        []byte
		bits, bytes int
		enc         Encoding
		problem     bool
	}{
		{"plain 24", plain(1, 6, 24), 24, 3, PCM, false},
		{"plain 24 in 4 bytes", plain(1, 8, 24), 24, 4, PCM, false},
		{"plain 20", plain(1, 6, 20), 24, 3, PCM, false},
		{"plain 12", plain(1, 4, 12), 16, 2, PCM, false},
		{"extensible 24", ext(24, 24, 1, 6), 24, 3, PCM, false},
		{"extensible 24 in 32", ext(32, 24, 1, 8), 24, 4, PCM, false},
		{"extensible 20 in 24", ext(24, 20, 1, 6), 24, 3, PCM, false},
		{"extensible 16 in 32", ext(32, 16, 1, 8), 16, 4, PCM, false},
		{"extensible float", ext(32, 32, 3, 8), 32, 4, Float, false},
		{"extensible float, valid bits odd", ext(64, 0, 3, 16), 64, 8, Float, false},
		{"extensible, no valid bits", ext(24, 0, 1, 6), 24, 3, PCM, true},
		{"extensible, more valid bits than there are", ext(16, 24, 1, 4), 16, 2, PCM, true},
		{"float of 16 bytes header", plain(3, 8, 32), 32, 4, Float, false},
		{"block align 0", plain(1, 0, 16), 16, 2, PCM, true},
		{"block align too small", plain(1, 2, 16), 16, 2, PCM, true},
		{"block align odd", plain(1, 7, 24), 24, 3, PCM, true},
	} {
		f, problem, err := parseFormat(r.body)
		want := Format{SampleRate: 48000, Channels: 2, BitDepth: r.bits, ContainerBytes: r.bytes, Encoding: r.enc}
		if err != nil || f != want || (problem != "") != r.problem {
			t.Errorf("%s: %+v, %q, %v; want %+v", r.name, f, problem, err, want)
		}
	}
	// What is written is read again, tag and all.
	for _, form := range forms {
		for _, ch := range []int{1, 2, 3, 256} {
			for _, rate := range []int{8000, 44100, 48000, 384000} {
				fm := form.Format
				fm.Channels, fm.SampleRate = ch, rate
				got, problem, err := parseFormat(appendFormat(nil, fm))
				if got != fm || problem != "" || err != nil {
					t.Errorf("%+v is read as %+v, %q, %v", fm, got, problem, err)
				}
			}
		}
	}
}
