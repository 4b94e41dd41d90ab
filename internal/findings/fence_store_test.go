package findings_test

import (
	"bytes"
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"nightreel/catalog"
	"nightreel/internal/findings"
	"nightreel/internal/refresh"
	"nightreel/internal/scan"
	"nightreel/internal/verdict"
)

// A scan and a refresh end well although a judge panics: the other judges' findings are
// stored, the verdict is that the show is not judged in part, and what to send us is
// part of the results, the same in every catalog.
func TestRefreshGoesOnWhenAJudgePanics(t *testing.T) {
	dir := t.TempDir()
	writeClipped(t, filepath.Join(dir, "2031-05-02", "01 Kick.wav"))
	findings.PlantPanic(t, "gains")
	var dumps [2]string
	for i := range dumps {
		store, err := catalog.Open(t.Context(), filepath.Join(t.TempDir(), "catalog"))
		if err != nil {
			t.Fatal(err)
		}
		defer store.Close()
		if _, err := scan.Run(t.Context(), store, []string{dir}, scan.Options{}, nil); err != nil {
			t.Fatal(err)
		}
		for range 2 { // the second one finds nothing stale
			report, err := refresh.Tour(t.Context(), store, refresh.Options{})
			if err != nil {
				t.Fatal(err)
			}
			t.Logf("judged: %v", report.Judged)
		}
		found, err := store.Findings(t.Context(), catalog.FindingFilter{Kind: catalog.Clipped})
		if err != nil || len(found) != 1 {
			t.Errorf("%d findings of clipping, error %v", len(found), err)
		}
		shows, err := store.Shows(t.Context(), catalog.ShowFilter{})
		if err != nil {
			t.Fatal(err)
		}
		verdicts, err := verdict.Load(t.Context(), store, shows, false)
		if err != nil {
			t.Fatal(err)
		}
		v := verdicts[0]
		if v.Answer != verdict.Unsettled || v.Known() || !strings.HasPrefix(v.Text(), "not judged in part: gain change, ") {
			t.Errorf("verdict %s, known %v: %s", v.Answer, v.Known(), v.Text())
		}
		if len(v.NotJudged) != 1 || v.NotJudged[0].Rig != catalog.MainRig || !strings.Contains(strings.Join(v.NotJudged[0].Report(), "\n"), "at findings.plantedPanic export_test.go:") {
			t.Errorf("not judged: %+v", v.NotJudged)
		}
		var b bytes.Buffer
		if err := refresh.Dump(t.Context(), store, &b); err != nil {
			t.Fatal(err)
		}
		dumps[i] = b.String()
	}
	if !strings.Contains(dumps[0], "\nnot judged ") || dumps[0] != dumps[1] {
		t.Errorf("results of two catalogs:\n%s\n%s", dumps[0], dumps[1])
	}
}

// writeClipped writes a mono file of 16 bit and 2 s in which 500 samples lie at full
// scale.
func writeClipped(t *testing.T, file string) {
	const rate, frames = 48000, 96000
	samples := make([]int16, frames)
	for i := range samples {
		samples[i] = int16(i % 999)
		if i > rate && i <= rate+500 {
			samples[i] = 32767
		}
	}
	var b bytes.Buffer
	for _, v := range []any{
		[]byte("RIFF"), uint32(36 + 2*frames), []byte("WAVEfmt "), uint32(16), uint16(1), uint16(1), uint32(rate), uint32(2 * rate), uint16(2), uint16(16),
		[]byte("data"), uint32(2 * frames), samples,
	} {
		if err := binary.Write(&b, binary.LittleEndian, v); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, b.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
}
