package lists

import (
	"bytes"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"nightreel/catalog"
)

// The result is bounded by the number of lines, and the same after writing and
// reading it again.

func FuzzReadInputs(f *testing.F) {
	f.Fuzz(func(t *testing.T, raw []byte) {
		got, err := ReadInputs(bytes.NewReader(raw), "fuzz.csv")
		if err != nil {
			if got != nil {
				t.Fatalf("half a result beside the error %v", err)
			}
			return
		}
		channels := map[string]bool{}
		for i, in := range got {
			if in.Track < 1 || in.Channel == "" || channels[catalog.Key(in.Channel)] || i > 0 && in.Track <= got[i-1].Track {
				t.Fatalf("input %d: %+v", i, in)
			}
			channels[catalog.Key(in.Channel)] = true
		}
		if len(got) == 0 {
			return // all tracks are unused: there would be no lines below the headings
		}
		var b bytes.Buffer
		if err := WriteInputs(&b, got); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		again, err := ReadInputs(&b, "written.csv")
		if err != nil || !reflect.DeepEqual(again, got) {
			t.Fatalf("written\n%s\nand read again %+v, %v; was %+v", text, again, err, got)
		}
	})
}

func FuzzReadDesk(f *testing.F) {
	f.Fuzz(func(t *testing.T, raw []byte) {
		got, err := ReadDesk(bytes.NewReader(raw), "fuzz.csv")
		if err != nil {
			if got != nil {
				t.Fatalf("half a result beside the error %v", err)
			}
			return
		}
		if len(got) == 0 {
			return
		}
		var b bytes.Buffer
		if err := WriteDesk(&b, got); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		again, err := ReadDesk(&b, "written.csv")
		if err != nil || !reflect.DeepEqual(again, got) {
			t.Fatalf("written\n%s\nand read again %+v, %v; was %+v", text, again, err, got)
		}
	})
}

func FuzzReadSetList(f *testing.F) {
	f.Fuzz(func(t *testing.T, raw []byte, isCSV bool) {
		name := "fuzz.txt"
		if isCSV {
			name = "fuzz.csv"
		}
		got, err := ReadSetList(bytes.NewReader(raw), name)
		if err != nil {
			if got != nil {
				t.Fatalf("half a result beside the error %v", err)
			}
			return
		}
		if len(got) == 0 || len(got) > len(raw) {
			t.Fatalf("%d entries from %d bytes", len(got), len(raw))
		}
		last := -1.0
		for i, e := range got {
			if e.Position != i+1 || strings.TrimSpace(e.Song) == "" || strings.ContainsAny(e.Song, "\n\t\x00\x1b") {
				t.Fatalf("entry %d: %+v", i, e)
			}
			if e.StartS != nil {
				if *e.StartS <= last || e.EndS != nil && *e.EndS <= *e.StartS {
					t.Fatalf("entry %d: start %v after %v, end %v", i, *e.StartS, last, e.EndS)
				}
				last = *e.StartS
			}
		}
	})
}

// The seeds are files, so that go test alone runs them; without seeds a fuzz
// target passes without testing anything.
func TestFuzzSeeds(t *testing.T) {
	for target, least := range map[string]int{"FuzzReadInputs": 8, "FuzzReadDesk": 4, "FuzzReadSetList": 6} {
		seeds, err := filepath.Glob(filepath.Join("testdata", "fuzz", target, "*"))
		if err != nil || len(seeds) < least {
			t.Errorf("%s has %d seeds (%v), want at least %d", target, len(seeds), err, least)
		}
		for _, s := range seeds {
			if text, err := os.ReadFile(s); err != nil || !bytes.HasPrefix(text, []byte("go test fuzz v1\n")) {
				t.Errorf("%s is no seed: %v", s, err)
			}
		}
	}
}
