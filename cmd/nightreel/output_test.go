package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/urfave/cli/v2"

	"nightreel/internal/wavfile"
)

// hostile is what a name may hold: colours, bells, a C1 control sequence, a byte that is no
// UTF-8, a line feed, and controls that turn the text around.
const hostile = "\x1b[31mEVIL\x07\x08\x7f\u009b1m\x9b\u202eCOD\u2066\nnightreel: all is well\r"

// hostileNight makes two tracks of a second below a folder, with hostile names wherever a
// recorder writes one.
func hostileNight(t *testing.T, dir string) {
	t.Helper()
	night := filepath.Join(dir, "2031-08-01 "+hostile)
	if err := os.MkdirAll(night, 0o755); err != nil {
		t.Fatal(err)
	}
	f := wavfile.Format{SampleRate: 8000, Channels: 1, BitDepth: 16, ContainerBytes: 2, Encoding: wavfile.PCM}
	for i, name := range []string{"01 " + hostile, "02 Snare"} {
		meta := wavfile.Meta{
			IXML: &wavfile.IXML{Project: hostile, Scene: hostile, Note: hostile, Tracks: []wavfile.IXMLTrack{{ChannelIndex: 1, InterleaveIndex: 1, Name: hostile + fmt.Sprint(i)}}},
			Cues: []wavfile.Cue{{Frame: 800, Label: hostile}, {Frame: 6000, Label: "end"}},
		}
		w, err := wavfile.Create(filepath.Join(night, name+".wav"), f, meta)
		if err != nil {
			t.Fatal(err)
		}
		for n := range 8 {
			if err := w.WriteFrames(bytes.Repeat([]byte{byte(n), 16}, 1000)); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(night, hostile+".wav"), []byte("RIFF????WAVE"), 0o644); err != nil {
		t.Fatal(err)
	}
}

// Whatever a folder, a file, a track, a marker, a song, a note, a rig or a desk is called,
// and whatever is typed: no command passes on what a terminal acts upon, in results,
// messages and errors alike, and no name ends a line. JSON documents hold the exact names.
func TestNothingActsUponTheTerminal(t *testing.T) {
	dir := t.TempDir()
	hostileNight(t, dir)
	desk := filepath.Join(dir, "desk.csv")
	if err := os.WriteFile(desk, []byte("input,channel\n1,Kick\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("NIGHTREEL_CATALOG", filepath.Join(dir, "c.nightreel"))
	nightreel := func(args ...string) (stdout, stderr string) {
		t.Helper()
		var out, messages bytes.Buffer
		run(t.Context(), args, &out, &messages, false)
		return out.String(), messages.String()
	}
	show := "2031-08-01"
	for _, args := range [][]string{
		{"scan", dir}, {"desk", "import", desk, "--name", hostile},
		{"takes", "set", "--show", show, "--song", hostile, "--start", "0.1", "--end", "0.6"},
		{"takes", "set", "--show", show, "--song", "Other", "--start", "0.6", "--end", "0.9"}, {"takes"},
		{"note", "add", hostile, "--show", show}, {"note", "list"}, {"note", "list", "--json"},
		{"shows"}, {"shows", "--json"}, {"tracks", "--show", show}, {"songs"}, {"songs", "alias", "Other", hostile + "2"}, {"songs", "alias", "Other", hostile},
		{"levels"}, {"levels", "--csv"}, {"compare", "--song", hostile}, {"compare", "--song", hostile, "--tone"}, {"findings"}, {"history"}, {"results"}, {"desk", "list"}, {"linecheck", dir},
		{"session", "build", "--desk", hostile, "--song", hostile}, {"session", "list"}, {"session", "show"}, {"session", "sheet", "-"}, {"session", "render", filepath.Join(dir, "out"+hostile)},
		{"verify"}, {"scan", dir + hostile}, {"inputs", "import", hostile, "--from", show}, {"shows", "venue", hostile, "--show", show}, {"shows"}, {"findings", "--channel", hostile},
		{hostile}, {"scan", "--" + hostile}, {"takes", "--show", hostile}, {"takes", "delete", hostile}, {"--catalog", dir + "/" + hostile, "shows"}, {"help", hostile},
		{"session", "play", "--device", hostile, "--rig", hostile}, {"relocate", hostile, hostile}, {"verify", "accept", hostile}, {"serve", "--listen", hostile},
	} {
		stdout, stderr := nightreel(args...)
		if stdout+stderr == "" {
			t.Errorf("%q prints nothing", args)
		}
		for what, text := range map[string]string{"output": stdout, "messages": stderr} {
			if i := strings.IndexFunc(text, func(r rune) bool { return r != '\n' && acts(r) }); i >= 0 || !utf8.ValidString(text) {
				t.Errorf("%q: %s at %d: %.80q", args, what, i, text[max(0, i):])
			}
			csv := slices.Contains(args, "--csv") || slices.Contains(args, "-") // line feeds stand between quotation marks
			if strings.Contains("\n"+text, "\nnightreel: all is well") && !csv {
				t.Errorf("%q: %s: a name ends a line: %q", args, what, text)
			}
		}
	}
	stdout, _ := nightreel("note", "list", "--json")
	var notes []struct{ Text string }
	if err := json.Unmarshal([]byte(stdout), &notes); err != nil || len(notes) != 1 || notes[0].Text != strings.ToValidUTF8(hostile, "\ufffd") {
		t.Errorf("note list --json: %v, %q", err, stdout)
	}
}

// No list and no help is wider than the terminal.
func TestListsFitTheWidth(t *testing.T) {
	dir, err := smallTour()
	if err != nil {
		t.Fatal(err)
	}
	tour, work := filepath.Join(dir, "tour"), t.TempDir()
	t.Setenv("NIGHTREEL_CATALOG", filepath.Join(work, "c.nightreel"))
	long := "A title of many words that goes on and on, as titles of free bands do"
	show := "2031-05-03"
	nightreel := func(want int, args ...string) string {
		t.Helper()
		var out, messages bytes.Buffer
		if status := run(t.Context(), args, &out, &messages, false); status != want {
			t.Fatalf("%q: status %d, want %d: %s", args, status, want, messages.String())
		}
		return out.String()
	}
	for _, args := range [][]string{
		{"scan", tour}, {"inputs", "import", filepath.Join(tour, "inputs.csv"), "--from", "2031-05-02"}, {"desk", "import", filepath.Join(tour, "desk-foh.csv"), "--name", "foh " + long},
		{"takes", "set", "--show", show, "--song", long, "--start", "36", "--end", "38"}, {"songs", "alias", long, long + "?! yes"},
		{"note", "add", long + ". " + long + ".", "--show", show}, {"setlist", "import", filepath.Join(tour, "2031-05-02 Harbour Hall, Tidewick", "setlist.txt"), "--show", "2031-05-02"},
		{"session", "build", "--desk", "foh " + long, "--song", long, "--song", "Salt on the Wire"},
	} {
		nightreel(statusDone, args...)
	}
	var helps [][]string
	var walk func(path []string, commands []*cli.Command)
	walk = func(path []string, commands []*cli.Command) {
		for _, c := range commands {
			own := append(slices.Clone(path), c.Name)
			helps = append(helps, append(slices.Clone(own), "--help"))
			walk(own, c.Subcommands)
		}
	}
	walk(nil, newApp(&env{stdout: io.Discard, stderr: io.Discard}).Commands)
	for _, width := range []int{80, 100, 120} {
		t.Setenv("COLUMNS", fmt.Sprint(width))
		for _, args := range append(helps,
			[]string{"shows"}, []string{"tracks", show}, []string{"levels"}, []string{"levels", "--song", long}, []string{"findings"}, []string{"takes"}, []string{"songs"}, []string{"compare", "Salt on the Wire"}, []string{"compare", long, "--tone"},
			[]string{"inputs", "show", show}, []string{"setlist", "show", "2031-05-02"}, []string{"desk", "list"}, []string{"note", "list"}, []string{"history"}, []string{"session", "list"}, []string{"session", "show"}, []string{"session", "back"},
			[]string{"verify"}, []string{"--help"}, []string{"help"}, []string{"linecheck", filepath.Join(tour, "2031-05-06 Meadow Stage, Upper Brackle")}, []string{"scan", tour},
		) {
			if width > 80 && (args[0] == "linecheck" || args[0] == "scan") && len(args) == 2 && args[1] != "--help" {
				continue // slow
			}
			text := nightreel(statusDone, args...)
			if text == "" {
				t.Errorf("%q prints nothing", args)
			}
			for l := range strings.Lines(text) {
				if n := displayWidth(strings.TrimSuffix(l, "\n")); n > width {
					t.Errorf("%q at %d columns has a line of %d: %s", args, width, n, l)
				}
			}
		}
	}
}

// A name of 10,000 letters is cut in tables, on a terminal of any width and in a pipe.
func TestTablesFit(t *testing.T) {
	long := strings.Repeat("Ünïcödé 漢字 ", 1000)
	heads := []string{">id", "show", "name", "/file", ">peak", "~why"}
	for _, width := range []int{0, 40, 80, 100, 120} {
		table := newTable(heads...)
		table.drop = []string{"peak"}
		table.row("1", "2031-08-01", long, "/a/"+long+"/end.wav", "-3.0", "word word word word")
		table.row("22", "2031-08-01", "e\u0301", "x.wav", "-13.0", strings.Repeat("word ", 30))
		blocks, left := table.fit(width)
		if len(blocks) != 1 || width == 0 && len(left) > 0 || width == 40 && !slices.Equal(left, []string{"peak"}) {
			t.Errorf("at %d columns: %d blocks, without %q", width, len(blocks), left)
		}
		for text := range strings.Lines(table.text(blocks[0], width)) {
			if n := displayWidth(strings.TrimSuffix(text, "\n")); width > 0 && n > width || n > 2*cellMost+200 {
				t.Errorf("at %d columns a line of %d: %s", width, n, text)
			}
		}
	}
	alike := newTable("rig", "show", ">peak")
	alike.same = []string{"rig", "show"}
	alike.row("main recorder", "2031-08-01 matinee", "1.0")
	alike.row("main recorder", "2031-08-01 evening", "2.0")
	if _, left := alike.fit(30); !slices.Equal(left, []string{"rig (main recorder)"}) {
		t.Errorf("left out is %q, want the column that says the same in all rows", left)
	}
	nights := newTable("channel", ">median", ">2031-05-02", ">2031-05-03", ">2031-05-04")
	nights.fixed = 2
	nights.row("Kick In", "-1", "1", "2", "3")
	blocks, left := nights.fit(44)
	if len(blocks) != 2 || len(left) > 0 || !slices.Equal(blocks[1].columns, []int{0, 1, 4}) {
		t.Errorf("nights go on in %+v, without %q", blocks, left)
	}
}
