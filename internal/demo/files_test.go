package demo

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"nightreel/internal/wavfile"
)

func (c corpus) info(t *testing.T, name string) *wavfile.Info {
	t.Helper()
	f, err := wavfile.Open(filepath.Join(c.dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return f.Info()
}

// Every file's header and metadata match the truth, and the segments of a track
// join without a gap, over midnight too.
func TestRecordingsReadBack(t *testing.T) {
	c := smallTour(t)
	containers := map[wavfile.Container]bool{}
	for _, s := range c.truth.Shows {
		for _, r := range s.Recordings {
			var end time.Time
			for _, name := range r.Files {
				info := c.info(t, name)
				containers[info.Container] = true
				if info.Format.SampleRate != r.SampleRate || info.Format.BitDepth != r.BitDepth {
					t.Errorf("%s: %+v, truth %d Hz, %d bit", name, info.Format, r.SampleRate, r.BitDepth)
				}
				starts, ok := info.Meta.Bext.StartTime(r.SampleRate)
				if !ok {
					t.Fatalf("%s: no start time", name)
				}
				segment := strings.Contains(name, "_0002") || strings.Contains(name, "_0003")
				want := r.StartsAt
				if segment {
					want = end
				}
				// A frame lasts 20 µs and more; the rest is rounding to ns.
				if d := starts.Sub(want); d.Abs() > 5*time.Microsecond {
					t.Errorf("%s starts at %v, want %v", name, starts, want)
				}
				end = starts.Add(time.Duration(info.Frames) * time.Second / time.Duration(r.SampleRate))
			}
			longest := 0
			for _, x := range c.tracks(t, s.Date, r) {
				longest = max(longest, len(x))
			}
			if int64(longest) != r.Frames {
				t.Errorf("%s %s: %d frames, truth %d", s.Date, r.Rig, longest, r.Frames)
			}
		}
	}
	if !containers[wavfile.RF64] || !containers[wavfile.RIFF] {
		t.Errorf("containers %v", containers)
	}
}

func TestOneShowRunsPastMidnight(t *testing.T) {
	c := smallTour(t)
	for _, s := range c.truth.Shows {
		r := s.Recordings[0]
		first := c.info(t, r.Files[0]).Meta.Bext
		last := c.info(t, r.Files[len(r.Files)-1]).Meta.Bext
		if first.OriginationDate == s.Date && last.OriginationDate > s.Date && last.TimeReference < first.TimeReference {
			return
		}
	}
	t.Error("no show has a segment that begins on the next day")
}

func TestMarkersCarryTheTitles(t *testing.T) {
	c := smallTour(t)
	for _, s := range c.truth.Shows {
		var got, want []string
		at := 0.0
		for _, name := range s.Recordings[0].Files {
			info := c.info(t, name)
			for _, cue := range info.Meta.Cues {
				got = append(got, cue.Label+strconv.FormatFloat(at+float64(cue.Frame)/float64(info.Format.SampleRate), 'f', 2, 64))
			}
			at += float64(info.Frames) / float64(info.Format.SampleRate)
		}
		for _, k := range c.truth.Takes {
			if k.Show == s.Date {
				want = append(want, k.Song+strconv.FormatFloat(k.StartS, 'f', 2, 64))
			}
		}
		if s.Date == "2031-05-03" != (len(got) > 0) {
			t.Errorf("%s has markers %v", s.Date, got)
		}
		if len(got) > 0 && !slices.Equal(got, want) {
			t.Errorf("%s: markers %v, takes %v", s.Date, got, want)
		}
	}
}

func TestPapers(t *testing.T) {
	c := smallTour(t)
	read := func(name string, comma rune) [][]string {
		t.Helper()
		b, err := os.ReadFile(filepath.Join(c.dir, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(b), "\ufeff")))
		r.Comma = comma
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return rows
	}
	for i, l := range c.truth.InputLists {
		comma := ','
		if i == 2 {
			comma = ';'
		}
		rows := read(l.File, comma)
		at := map[string]int{}
		for k, h := range rows[0] {
			at[strings.ToLower(h)] = k
		}
		var got []Input
		for _, row := range rows[1:] {
			n, err1 := strconv.Atoi(row[at["track"]])
			g, err2 := strconv.ParseFloat(row[at["gain"]], 64)
			if err1 != nil || err2 != nil {
				t.Fatalf("%s: row %q", l.File, row)
			}
			got = append(got, Input{Track: n, Channel: row[at["channel"]], GainDB: g, Group: row[at["group"]], Notes: row[at["notes"]]})
		}
		if !reflect.DeepEqual(got, l.Inputs) {
			t.Errorf("%s reads %v, truth %v", l.File, got, l.Inputs)
		}
	}
	for _, d := range c.truth.Desks {
		if n := len(read(d.File, ',')) - 1; n != len(d.Inputs) {
			t.Errorf("%s has %d inputs, truth %d", d.File, n, len(d.Inputs))
		}
	}
	for _, s := range c.truth.Shows {
		if filepath.Ext(s.SetList) != ".csv" {
			continue
		}
		rows, i := read(s.SetList, ','), 1
		for _, k := range c.truth.Takes {
			if k.Show != s.Date {
				continue
			}
			at, err := time.Parse("04:05", rows[i][1])
			if err != nil || rows[i][0] != k.Song || math.Abs(float64(at.Minute()*60+at.Second())-k.StartS) > 0.5 {
				t.Errorf("%s: row %q, truth %+v", s.SetList, rows[i], k)
			}
			i++
		}
	}
}
