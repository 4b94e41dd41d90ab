package meter

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"testing"
)

func sampleParts(tb testing.TB) map[string]Part {
	const rate = 48000
	r := newRand(30)
	x := lively(r, rate, 20*rate+77)
	quiet := scaled(noise(r, 3*rate, -90), 1)
	onset := append(make([]float64, 9600), tones(rate, 11000, tone{-1, 1})...) // rings into a silent block
	cfg := Config{SampleRate: rate, Type: Int24}
	return map[string]Part{
		"nothing": {Blocks: []Block{}},
		"silence": onePart(tb, cfg, raw(Int24, make([]float64, 60*rate)), 0, 60*rate),
		"lively":  onePart(tb, cfg, raw(Int24, x), 0, len(x)),
		"quiet":   onePart(tb, cfg, raw(Int24, quiet), 0, len(quiet)),
		"onset":   onePart(tb, Config{SampleRate: rate, Type: Float64}, raw(Float64, onset), 0, len(onset)),
		"huge":    onePart(tb, Config{SampleRate: rate, Type: Float64}, raw(Float64, []float64{1e300, -1e300, 0, 1}), 0, 4),
	}
}

// Decoding returns what was encoded, true peak and mean within what Encode
// promises; encoding it again gives the same bytes.
func TestEncodeDecode(t *testing.T) {
	escapes := 0
	for name, p := range sampleParts(t) {
		data := Encode(p)
		got, err := Decode(data)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !bytes.Equal(Encode(got), data) {
			t.Errorf("%s: encodes differently the second time", name)
		}
		if len(got.Blocks) != len(p.Blocks) {
			t.Fatalf("%s: %d blocks, want %d", name, len(got.Blocks), len(p.Blocks))
		}
		for i, b := range got.Blocks {
			want := p.Blocks[i]
			if b.TruePeak < want.TruePeak || float64(b.TruePeak) > float64(want.TruePeak)*1.00002 {
				t.Errorf("%s, block %d: true peak %g of %g", name, i, b.TruePeak, want.TruePeak)
			}
			if d := math.Abs(float64(b.Mean - want.Mean)); d > float64(want.Peak)/65533 {
				t.Errorf("%s, block %d: mean %g of %g", name, i, b.Mean, want.Mean)
			}
			if float64(want.TruePeak) > truePeakBound*float64(want.Peak) {
				escapes++
			}
			b.TruePeak, b.Mean = want.TruePeak, want.Mean
			if b != want {
				t.Errorf("%s, block %d: %+v, want %+v", name, i, b, want)
			}
		}
		if len(got.Events)+len(p.Events) > 0 && !reflect.DeepEqual(got.Events, p.Events) {
			t.Errorf("%s: different events", name)
		}
	}
	if escapes == 0 {
		t.Error("no block whose neighbour rings into it")
	}
}

// Catalog bytes per audio byte: at most 0.15 % of 24 bit at 48 kHz, even for a
// track full of events; silence a tenth of that.
func TestRecordSize(t *testing.T) {
	const rate, audio = 48000, 60 * 48000 * 3
	cfg := Config{SampleRate: rate, Type: Int24}
	size := func(x []float64) float64 {
		return 100 * float64(len(Encode(onePart(t, cfg, raw(Int24, x), 0, 60*rate)))) / audio
	}
	music := noise(newRand(31), 60*rate, -20)
	silence := size(make([]float64, 60*rate))
	plain := size(music)
	t.Logf("%.4f %% of the audio for noise, %.5f %% for silence", plain, silence)
	if plain > 0.15 || silence > 0.015 {
		t.Errorf("%.4f %% for noise, %.5f %% for silence", plain, silence)
	}
	put(music, 0, 100000, 100100)
	for i := 5000; i+100 < len(music); i += 4000 {
		put(music, 1, i, i+5)
	}
	if full := size(music); full > 0.2 {
		t.Errorf("%.4f %% for a track that clips all the time", full)
	} else {
		t.Logf("%.4f %% for a track that clips all the time", full)
	}
}

func TestDecodeRefuses(t *testing.T) {
	good := Encode(sampleParts(t)["lively"])
	for name, data := range map[string][]byte{
		"nothing":       nil,
		"other version": append([]byte{Version + 1}, good[1:]...),
		"cut":           good[:len(good)-1],
		"longer":        append(bytes.Clone(good), 0),
		"many blocks":   {Version, 0xff, 0xff, 0xff, 0x7f, 0, 0, 0},
		"many events":   {Version, 0, 0, 0, 0xff, 0xff, 0xff, 0x7f},
		"unknown kind":  {Version, 0, 0, 0, 1, 9, 1, 1, 0, 0, 0, 0},
		"column":        {Version, 1, 0, 0xf0, 0},
		"NaN":           {Version, 1, 1, 0, 0, 0, 0xc0, 0x7f, 0},
		"negative":      {Version, 1, 1, 0, 0, 0, 0x80, 0xbf, 0},
	} {
		if p, err := Decode(data); !errors.Is(err, ErrRecord) || len(p.Blocks)+len(p.Events) > 0 {
			t.Errorf("%s: %d blocks, error %v", name, len(p.Blocks), err)
		}
	}
}

// No input makes Decode panic or use more than a part's memory; decoded parts
// encode and decode to themselves.
func FuzzDecode(f *testing.F) {
	seeds := 0
	for _, p := range sampleParts(f) {
		f.Add(Encode(p))
		seeds++
	}
	f.Add([]byte{Version, 1, 3, 0, 0, 0, 0x80, 0x3f, 0xff, 0xff, 0, 0, 0x80, 0x40, 0})
	if seeds < 6 {
		f.Fatalf("%d seeds", seeds)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Decode(data)
		if err != nil {
			if !errors.Is(err, ErrRecord) || p.Blocks != nil || p.Events != nil {
				t.Fatalf("half a result, error %v", err)
			}
			return
		}
		if len(p.Blocks) > PartBlocks || len(p.Events) > len(data)/7 {
			t.Fatalf("%d blocks and %d events of %d bytes", len(p.Blocks), len(p.Events), len(data))
		}
		for _, b := range p.Blocks {
			if b.TruePeak < b.Peak || math.IsInf(float64(b.TruePeak), 0) {
				t.Fatalf("true peak %g below %g", b.TruePeak, b.Peak)
			}
		}
		again, err := Decode(Encode(p))
		if err != nil || len(again.Blocks) != len(p.Blocks) || len(again.Events) != len(p.Events) {
			t.Fatalf("decoded, encoded and decoded: %v", err)
		}
		for i := range p.Blocks {
			if again.Blocks[i] != p.Blocks[i] {
				t.Fatalf("block %d: %+v, then %+v", i, p.Blocks[i], again.Blocks[i])
			}
		}
		// Any number of frames and any rate serve here.
		e := Join(48000, int64(len(p.Blocks))*4800, 0, p)
		e.Figures(0, e.Frames)
	})
}
