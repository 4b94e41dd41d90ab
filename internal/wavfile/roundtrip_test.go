package wavfile

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"testing"
)

// forms are the sample forms that are read and written.
var forms = []struct {
	name string
	Format
}{
	{"pcm8", Format{BitDepth: 8, ContainerBytes: 1}},
	{"pcm16", Format{BitDepth: 16, ContainerBytes: 2}},
	{"pcm24", Format{BitDepth: 24, ContainerBytes: 3}},
	{"pcm24in32", Format{BitDepth: 24, ContainerBytes: 4}},
	{"pcm32", Format{BitDepth: 32, ContainerBytes: 4}},
	{"float32", Format{BitDepth: 32, ContainerBytes: 4, Encoding: Float}},
	{"float64", Format{BitDepth: 64, ContainerBytes: 8, Encoding: Float}},
}

// eachForm runs f over sample forms × channel counts × containers.
func eachForm(t *testing.T, channels []int, f func(t *testing.T, name string, fm Format, o Options)) {
	for _, form := range forms {
		for _, ch := range channels {
			for _, rf64 := range []bool{false, true} {
				fm := form.Format
				fm.Channels, fm.SampleRate = ch, 48000
				name := fmt.Sprintf("%s/%dch/rf64=%v", form.name, ch, rf64)
				t.Run(name, func(t *testing.T) { f(t, form.name, fm, Options{ForceRF64: rf64}) })
			}
		}
	}
}

func TestRoundTripEveryForm(t *testing.T) {
	eachForm(t, []int{1, 2, 3, 64, 256}, func(t *testing.T, _ string, fm Format, o Options) {
		raw := noise(fm, 101)
		in, got := readAll(t, writeFile(t, o, fm, fullMeta(), raw))
		if !bytes.Equal(got, raw) {
			t.Error("frames differ from what was written")
		}
		if in.Format != fm || in.Unfinished || len(in.Repairs) != 0 {
			t.Errorf("info %+v", in)
		}
		if want := (map[bool]Container{false: RIFF, true: RF64})[o.ForceRF64]; in.Container != want {
			t.Errorf("container %d, want %d", in.Container, want)
		}
		if !sameMeta(in.Meta, parsedFullMeta()) {
			t.Errorf("metadata\n got %+v\nwant %+v", in.Meta, parsedFullMeta())
		}
	})
}

// fullMeta fills every field that is written.
func fullMeta() Meta {
	return Meta{
		Bext: &Bext{
			Description:         "Evening at the Granary",
			Originator:          "Rig B",
			OriginatorReference: "NRB0007",
			OriginationDate:     "2031-05-02",
			OriginationTime:     "23:30:00",
			TimeReference:       4060800000, // 23:30:00 at 48 kHz
			Version:             2,
			UMID:                [64]byte{1, 2, 3},
			Loudness:            &BextLoudness{-23.01, 7.5, math.NaN(), -18, -99.99},
			CodingHistory:       "A=PCM,F=48000,W=24\r\n",
		},
		IXML: &IXML{
			Project: "Fall & Rise <tour>", Scene: "2", Tape: "T1", Take: "3", Note: "é ü 日本",
			Tracks: []IXMLTrack{{17, 1, "Kick \"In\"", ""}, {18, 2, "Snare", "MIX"}},
		},
		Cues: []Cue{{ID: 1, Frame: 10, Label: "First"}, {ID: 2, Frame: 48, Length: 20, Label: "Ünder"}, {ID: 7, Frame: 99}},
		Tags: map[string]string{"INAM": "odd", "ISFT": "even"},
	}
}

// parsedFullMeta is fullMeta as it is read back: with the text of the iXML.
func parsedFullMeta() Meta {
	m := fullMeta()
	m.IXML.Raw = string(appendIXML(nil, m.IXML))
	return m
}

// sameMeta compares metadata, NaN being equal to NaN.
func sameMeta(a, b Meta) bool {
	la, lb := loudness(a), loudness(b)
	for i := range la {
		if la[i] != lb[i] && !(math.IsNaN(la[i]) && math.IsNaN(lb[i])) {
			return false
		}
	}
	return reflect.DeepEqual(withoutLoudness(a), withoutLoudness(b))
}

func loudness(m Meta) [5]float64 {
	if m.Bext == nil || m.Bext.Loudness == nil {
		return BextLoudness{math.NaN(), math.NaN(), math.NaN(), math.NaN(), math.NaN()}.fields()
	}
	return m.Bext.Loudness.fields()
}

func withoutLoudness(m Meta) Meta {
	if m.Bext != nil {
		b := *m.Bext
		b.Loudness = nil
		m.Bext = &b
	}
	return m
}
