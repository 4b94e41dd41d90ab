package main

import (
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// rooms says who may import whom: for each package of the house the packages
// it may use, beside the standard library. The reason for a line stands behind
// it. Whoever adds a package adds a line.
var rooms = map[string][]string{
	"nightreel/catalog":               {"github.com/mattn/go-sqlite3"},                                                                                               // public: no internals in its types
	"nightreel/internal/wavfile":      {"github.com/go-audio/", "github.com/google/renameio/v2"},                                                                     // files, no figures
	"nightreel/internal/spectrum":     {"nightreel/internal/{meter,stats}"},                                                                                          // arithmetic alone, like meter
	"nightreel/internal/stats":        {},                                                                                                                            // arithmetic alone, the same bits on every machine
	"nightreel/internal/meter":        {"nightreel/internal/stats"},                                                                                                  // arithmetic alone, testable without cgo
	"nightreel/internal/channelsound": {"nightreel/catalog", "nightreel/internal/{spectrum,stats}"},                                                                  // from the catalog alone
	"nightreel/internal/linecheck":    {"nightreel/catalog", "nightreel/internal/{scan,envelope,tracks,meter,channelsound,spectrum,evidence,findings,stats}"},        // a minute of this afternoon against the tour
	"nightreel/internal/envelope":     {"nightreel/catalog", "nightreel/internal/{meter,stats}"},                                                                     // the one bridge from stored parts to arithmetic
	"nightreel/internal/csvfile":      {},                                                                                                                            // comma-separated values that no spreadsheet runs
	"nightreel/internal/lists":        {"nightreel/catalog", "nightreel/internal/csvfile", "golang.org/x/text/"},                                                     // lists as people write them
	"nightreel/internal/scan":         {"nightreel/catalog", "nightreel/internal/{wavfile,tracks,meter,spectrum}", "github.com/zeebo/xxh3", "golang.org/x/sys/unix"}, // the only room that reads a night
	"nightreel/internal/evaluate":     {"nightreel/catalog", "nightreel/internal/", "gitlab.com/gomidi/midi/v2/smf", "gonum.org/v1/gonum/dsp/fourier"},               // makes nights and counts; for developers
	"nightreel/internal/songs":        {"nightreel/catalog", "nightreel/internal/{meter,envelope,spectrum,evidence,stats}"},                                          // from the catalog alone
	"nightreel/internal/findings":     {"nightreel/catalog", "nightreel/internal/{meter,spectrum,channelsound,evidence,stats}"},                                      // judges: evidence in, findings out
	"nightreel/internal/compare":      {"nightreel/catalog", "nightreel/internal/{csvfile,meter,envelope,spectrum,channelsound,stats}"},                              // from the catalog alone
	"nightreel/internal/session":      {"nightreel/catalog", "nightreel/internal/{csvfile,meter,envelope,wavfile,tracks,stats}"},                                     // builds and renders
	"nightreel/internal/playback":     {"nightreel/catalog", "nightreel/internal/{meter,wavfile,tracks}", "github.com/gofrs/flock"},                                  // feeds the desk; knows the catalog only outside of the player's process
	"nightreel/internal/verdict":      {"nightreel/catalog", "nightreel/internal/refresh"},                                                                           // is a show whole
	"nightreel/internal/tourgrid":     {"nightreel/catalog", "nightreel/internal/verdict"},                                                                           // songs × nights
	"nightreel/internal/tracks":       {"nightreel/catalog", "nightreel/internal/wavfile"},                                                                           // the one reader of samples
	"nightreel/internal/web":          {"nightreel/catalog", "nightreel/internal/", "github.com/zeebo/xxh3"},                                                         // asks all, judges nothing
	"nightreel/internal/demo":         {"nightreel/internal/wavfile"},                                                                                                // makes files, knows no catalog
	"nightreel/cmd/bench":             {"nightreel/catalog", "nightreel/internal/", "github.com/go-audio/", "github.com/hanwen/go-fuse/v2/"},                         // for developers
	"nightreel/cmd/evaluate":          {"nightreel/catalog", "nightreel/internal/evaluate"},                                                                          // for developers
	"nightreel/internal/refresh":      {"nightreel/catalog", "nightreel/internal/{rigs,songs,findings,compare,envelope,evidence,lists}"},                             // what is stale, brought up to date in one order
	"nightreel/internal/evidence":     {"nightreel/catalog", "nightreel/internal/{meter,envelope,channelsound,stats}"},                                               // what is known of a show when it is judged, and which other shows count
	"nightreel/internal/rigs":         {"nightreel/catalog", "nightreel/internal/{envelope,meter}"},                                                                  // from the catalog alone
	"nightreel/cmd/nightreel":         {"nightreel/", "github.com/urfave/cli/v2", "golang.org/x/term", "github.com/gdamore/tcell/v2", "github.com/google/renameio/v2", "github.com/rivo/uniseg"},

	"nightreel/internal/playback/device":   {"nightreel/internal/playback", "github.com/gen2brain/malgo"},                                                                                      // the only room with the sound library; for the player's process
	"nightreel/internal/playback/pattern":  {},                                                                                                                                                 // test signal
	"nightreel/internal/playback/sinktest": {"nightreel/catalog", "nightreel/internal/{wavfile,tracks,playback}", "nightreel/internal/playback/pattern", "nightreel/internal/wavfile/wavtest"}, // what every sink is held to
	"nightreel/internal/wavfile/wavtest":   {"nightreel/internal/wavfile"},                                                                                                                     // files and samples for tests
	"nightreel/internal/playback/jackrig":  {},                                                                                                                                                 // test bench: an audio server and a capture client
}

// clocks are the packages that may ask what time it is; all others are given
// it, so that their tests need no sleep.
var clocks = []string{"nightreel/cmd/nightreel", "nightreel/catalog", "nightreel/internal/scan", "nightreel/internal/session", "nightreel/internal/playback/device", "nightreel/cmd/bench"}

type goPackage struct {
	ImportPath, Dir, Name string
	GoFiles, Imports      []string
}

func packages(t *testing.T) []goPackage {
	t.Helper()
	cmd := exec.Command("go", "list", "-json=ImportPath,Dir,Name,GoFiles,CgoFiles,Imports", "./...")
	cmd.Dir = filepath.Join("..", "..")
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	var all []goPackage
	for dec := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p goPackage
		if err := dec.Decode(&p); err == io.EOF {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

func TestImports(t *testing.T) {
	all := packages(t)
	for _, p := range all {
		allowed, listed := rooms[p.ImportPath]
		if !listed {
			t.Errorf("%s: not in the table of rooms", p.ImportPath)
		}
		for _, imported := range p.Imports {
			if first, _, _ := strings.Cut(imported, "/"); !strings.Contains(first, ".") && first != "nightreel" {
				continue // standard library
			}
			if !slices.ContainsFunc(allowed, func(a string) bool { return allows(a, imported) }) {
				t.Errorf("%s imports %s, which its line in the table of rooms does not allow", p.ImportPath, imported)
			}
		}
	}
	for room := range rooms {
		if !slices.ContainsFunc(all, func(p goPackage) bool { return p.ImportPath == room }) {
			t.Errorf("%s is in the table of rooms and nowhere else", room)
		}
	}
}

// allows tells whether an import fits a line: itself, a folder ending in "/",
// or one of the names in braces.
func allows(line, imported string) bool {
	if before, names, braces := strings.Cut(line, "{"); braces {
		for name := range strings.SplitSeq(strings.TrimSuffix(names, "}"), ",") {
			if before+name == imported {
				return true
			}
		}
		return false
	}
	return line == imported || strings.HasSuffix(line, "/") && strings.HasPrefix(imported, line)
}

// TestHouse holds what every package's source must keep to: one package
// comment, printing and leaving in cmd only, the clock only where listed.
func TestHouse(t *testing.T) {
	for _, p := range packages(t) {
		comments := 0
		for _, name := range p.GoFiles {
			path := filepath.Join(p.Dir, name)
			file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
			if err != nil {
				t.Fatal(err)
			}
			if file.Doc != nil {
				comments++
			}
			ast.Inspect(file, func(n ast.Node) bool {
				sel, ok := n.(*ast.SelectorExpr)
				if !ok {
					return true
				}
				pkg, ok := sel.X.(*ast.Ident)
				if !ok || pkg.Obj != nil {
					return true
				}
				call := pkg.Name + "." + sel.Sel.Name
				switch {
				case p.Name != "main" && (strings.HasPrefix(call, "fmt.Print") || pkg.Name == "log" || call == "os.Exit"):
					t.Errorf("%s: %s: only cmd prints, logs or leaves", path, call)
				case p.ImportPath == "nightreel/cmd/nightreel" && strings.HasPrefix(call, "fmt.Fprint") && name != "output.go" && name != "progress.go":
					t.Errorf("%s: %s: print through output.go, which keeps names from acting upon the terminal", path, call)
				case pkg.Name == "csv" && sel.Sel.Name == "NewWriter" && p.ImportPath != "nightreel/internal/csvfile" && p.ImportPath != "nightreel/internal/demo":
					t.Errorf("%s: %s: write through csvfile, so that no spreadsheet runs a name", path, call)
				case call == "time.Now" && !slices.Contains(clocks, p.ImportPath):
					t.Errorf("%s: time.Now: this package is given the time", path)
				}
				return true
			})
		}
		if comments != 1 {
			t.Errorf("%s: has %d package comments, wants one", p.ImportPath, comments)
		}
	}
}
