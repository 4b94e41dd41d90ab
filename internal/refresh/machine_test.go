package refresh_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// The same recordings and lists give the same results with the kernels in C and
// in plain Go, on amd64 and, under emulation, on arm64. One run measures, places
// and judges there; another judges there what was measured here.
func TestResultsAreEqualOnOtherMachines(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program three times and runs one of them under emulation")
	}
	dir := t.TempDir()
	recordings := filepath.Join(dir, "tour")
	makeTour(t, recordings)
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
		return path
	}
	inputs := write("inputs.csv", "track,channel,gain\n1,Kick,20\n2,Bass,21\n3,Guitar,22\n4,Keys,23\n5,Vocal,24\n6,Audience,25\n")
	list := write("list.txt", "Copper Stair\nLow Lantern\nWinter Ferry\n")

	build := func(name string, env []string, args ...string) string {
		path := filepath.Join(dir, name)
		cmd := exec.Command("go", append(append([]string{"build", "-o", path}, args...), "nightreel/cmd/nightreel")...)
		cmd.Env = append(os.Environ(), env...)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		return path
	}
	here := build("here", nil)
	run := func(args ...string) string {
		t.Helper()
		var errs strings.Builder
		cmd := exec.Command(args[0], args[1:]...)
		cmd.Stderr = &errs
		cmd.Env = append(os.Environ(), "NIGHTREEL_AUTHOR=test", "XDG_CONFIG_HOME="+dir)
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v\n%s", strings.Join(args, " "), err, errs.String())
		}
		return string(out)
	}
	job := func(catalog string, program ...string) string {
		t.Helper()
		with := append(program, "--catalog", filepath.Join(dir, catalog))
		run(append(with, "scan", recordings)...)
		run(append(with, "inputs", "import", inputs, "--from", "2031-06-01")...)
		run(append(with, "setlist", "import", list, "--show", "2031-06-01")...)
		return run(append(with, "results")...)
	}
	want := job("here.nightreel", here)
	if !strings.Contains(want, `"music"`) || !strings.Contains(want, "dc_offset") {
		t.Fatalf("the tour's results are incomplete:\n%s", want)
	}
	if got := job("go.nightreel", build("go", nil, "-ldflags", "-X 'nightreel/internal/meter.only=plain Go'")); got != want {
		t.Errorf("plain Go: %s", differing(want, got))
	}

	const compiler, emulator = "aarch64-linux-gnu-gcc", "qemu-aarch64"
	for _, tool := range []string{compiler, emulator} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") != "" {
				t.Fatal(err)
			}
			t.Skip(err)
		}
	}
	arm := []string{emulator, "-L", "/usr/aarch64-linux-gnu", build("arm", []string{"GOARCH=arm64", "CGO_ENABLED=1", "CC=" + compiler})}
	if got := job("arm.nightreel", arm...); got != want {
		t.Errorf("arm64: %s", differing(want, got))
	}
	// Drop all results, keep the measurements, and compute the results there.
	store := openCatalogAt(t, filepath.Join(dir, "here.nightreel"))
	if err := store.DropResults(t.Context()); err != nil {
		t.Fatal(err)
	}
	store.Close()
	if got := run(append(arm, "--catalog", filepath.Join(dir, "here.nightreel"), "results")...); got != want {
		t.Errorf("judged on arm64: %s", differing(want, got))
	}
}
