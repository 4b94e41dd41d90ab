package session

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"nightreel/catalog"
)

// RenderOptions are the choices of [Render].
type RenderOptions struct {
	Dir string // folder to render into; created if it is missing

	// Poly makes one polyphonic file per item, with a channel for every desk
	// input in order, silent if the input does not play. Without Poly every item
	// is a folder with a mono file per input.
	Poly bool

	// PreRollS and PostRollS are seconds that are rendered before the take's
	// start and after its end. Beyond the recording's ends they are silent.
	PreRollS, PostRollS float64

	// BitDepth makes integers of 16, 24 or 32 bits. 0 keeps the source's coding,
	// and so does the source's own depth.
	BitDepth int

	// Overwrite allows replacing files of an earlier render. Files that
	// nightreel did not render are never replaced.
	Overwrite bool
}

// Rendered is the result of a render.
type Rendered struct {
	Files    []RenderedFile `json:"files"`
	Bytes    int64          `json:"bytes"`   // of audio written
	Seconds  float64        `json:"seconds"` // duration of the render
	Problems []string       `json:"problems"`
}

// RenderedFile is one file of a render.
type RenderedFile struct {
	Path      string  `json:"path"`
	Item      int     `json:"item"`       // index into the session's items, from 0
	DeskInput int     `json:"desk_input"` // 0 for a polyphonic file
	Channel   string  `json:"channel"`    // "" for a polyphonic file
	Channels  []Voice `json:"channels,omitempty"`
	Frames    int64   `json:"frames"`
	TrimDB    float64 `json:"trim_db"` // 0 for a polyphonic file; see Channels
	// BitIdentical means that every sample of the recording was copied as it is.
	BitIdentical   bool  `json:"bit_identical"`
	ClippedSamples int64 `json:"clipped_samples"` // cut to full scale by a trim or a change of format
	Skipped        bool  `json:"skipped"`         // an equal file was already there
}

// Voice is one channel of a polyphonic file.
type Voice struct {
	DeskInput int                 `json:"desk_input"`
	Channel   string              `json:"channel"`
	Status    catalog.InputStatus `json:"status"`
	TrimDB    float64             `json:"trim_db"`
}

// ExistsError reports that a file already exists under a name to be written.
type ExistsError struct {
	Path string
	Ours bool // rendered by nightreel, but from something else
}

func (e *ExistsError) Error() string {
	if e.Ours {
		return e.Path + ": not rendered: a file of another render has this name"
	}
	return e.Path + ": not rendered: a file that nightreel did not render has this name"
}

// Hint returns what to do about it.
func (e *ExistsError) Hint() string {
	if e.Ours {
		return "render into another folder, or allow overwriting"
	}
	return "render into another folder; nightreel overwrites only files that it rendered"
}

// MixedError reports that a folder holds what another session's render made. A person
// who loads the folder would load both.
type MixedError struct {
	Dir   string
	Other string // the name of one of the other session's takes there
}

func (e *MixedError) Error() string {
	return fmt.Sprintf("%s: not rendered: %q of another session is there", e.Dir, e.Other)
}

// Hint returns what to do about it.
func (e *MixedError) Hint() string {
	return "render into another folder, or delete the other session's files"
}

// apart refuses a folder with takes that are not this session's.
func apart(dir string, plans []*itemPlan) error {
	own := map[string]bool{}
	for _, plan := range plans {
		own[plan.name], own[plan.name+".wav"] = true, true
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil // it is not there yet; makeRoom says what else is wrong
	}
	for _, e := range entries {
		if !own[e.Name()] && itemNames.MatchString(e.Name()) {
			return &MixedError{dir, e.Name()}
		}
	}
	return nil
}

// itemNames matches what itemName makes, as a folder or as a polyphonic file.
var itemNames = regexp.MustCompile(`^\d{2,} .*\(\d{4}-\d{2}-\d{2}[^)]*\)(\.wav)?$`)

// SpaceError reports that the disk cannot hold the render. Nothing was written.
type SpaceError struct {
	Dir        string
	Need, Free int64 // bytes
}

func (e *SpaceError) Error() string {
	return fmt.Sprintf("%s: not rendered: it needs %.2f GB and the disk has %.2f GB left", e.Dir, float64(e.Need)/1e9, float64(e.Free)/1e9)
}

// Hint returns what to do about it.
func (e *SpaceError) Hint() string {
	return "render to another disk, fewer songs, or only some channels"
}

// Render cuts the session's audio into WAV files below opt.Dir.
//
// Each item becomes a folder "01 Title (2031-05-02)" with a mono file for every
// desk input on playback, "01 Kick In.wav", or with Poly one file "01 Title
// (2031-05-02).wav". All files of an item start at the same frame and are
// equally long. An input without trim is copied bit for bit in the source's
// coding, unless another bit depth is requested; see Problems and ClippedSamples
// for the effects of a trim. The bext time reference is that of the first frame
// in the file; cue points mark the take's start and end.
//
// Files are written to a hidden folder, synced and then renamed, item by item:
// after an interruption or on a full disk every item is there whole or not at
// all. A later Render of the same session continues from there. A recording that
// cannot be read becomes a problem, and only the files that need it are left
// out. A failed write or a cancelled ctx ends the render; the files listed
// beside the error are finished.
//
// Errors: *[ExistsError], *[MixedError] and *[SpaceError] before anything is written,
// *[RenderError] for invalid options.
func Render(ctx context.Context, store *catalog.Store, ses catalog.Session, opt RenderOptions, p *Progress) (Rendered, error) {
	began := time.Now()
	done := Rendered{Files: []RenderedFile{}, Problems: []string{}}
	finish := func(err error) (Rendered, error) {
		done.Seconds = time.Since(began).Seconds()
		return done, err
	}
	if p == nil {
		p = &Progress{}
	}
	if err := opt.check(); err != nil {
		return finish(err)
	}
	plans := make([]*itemPlan, len(ses.Items))
	var need, audio int64
	for i := range ses.Items {
		var err error
		if plans[i], err = newItemPlan(ctx, store, ses, i, opt); err != nil {
			return finish(err)
		}
		bytes, files, err := plans[i].look(opt)
		if err != nil {
			return finish(err)
		}
		audio += bytes
		need += bytes + int64(files)*headerBytes
	}
	if err := apart(opt.Dir, plans); err != nil {
		return finish(err)
	}
	if need > 0 {
		if err := makeRoom(opt.Dir, need); err != nil {
			return finish(err)
		}
	}
	p.begin(len(plans), audio)
	for i, plan := range plans {
		p.enter(i+1, fmt.Sprintf("%s (%s)", plan.item.Song, plan.item.Show))
		files, problems, err := plan.render(ctx, p, &done.Bytes)
		done.Files = append(done.Files, files...)
		done.Problems = append(done.Problems, problems...)
		if err != nil {
			return finish(err)
		}
	}
	return finish(ctx.Err())
}

// headerBytes bounds the bytes of a rendered file beside its audio: header,
// metadata of up to 256 channels, and a cluster of the disk. Measured with
// channel names of 28 letters: 1.2 kB for a mono file, 42 kB for 256 channels.
const headerBytes = 64 << 10

func (o RenderOptions) check() error {
	bad := func(problem, try string) error { return &RenderError{problem, try} }
	switch {
	case o.Dir == "":
		return bad("there is no folder to render into", "name a folder to render into")
	case !(o.PreRollS >= 0 && o.PostRollS >= 0 && o.PreRollS <= maxRollS && o.PostRollS <= maxRollS):
		return bad(fmt.Sprintf("pre-roll %g s, post-roll %g s", o.PreRollS, o.PostRollS), fmt.Sprintf("both go from 0 to %d s", maxRollS))
	case o.BitDepth != 0 && o.BitDepth != 16 && o.BitDepth != 24 && o.BitDepth != 32:
		return bad(fmt.Sprintf("bit depth %d", o.BitDepth), "16, 24 and 32 are possible; 0 keeps the source's")
	}
	return nil
}

// maxRollS bounds pre-roll and post-roll in seconds, so that a typing error does
// not fill a disk with silence.
const maxRollS = 600

// RenderError reports invalid options of a render.
type RenderError struct {
	Problem string
	Try     string // what is possible
}

func (e *RenderError) Error() string { return "not rendered: " + e.Problem }

// Hint returns what is possible.
func (e *RenderError) Hint() string { return e.Try }

// makeRoom creates the folder and checks that the disk can hold the render.
func makeRoom(dir string, need int64) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("%s: could not make the folder: %w", dir, err)
	}
	if free, known := freeBytes(dir); known && free < uint64(need) {
		return &SpaceError{Dir: dir, Need: need, Free: int64(free)}
	}
	return nil
}

// others lists the WAV files in an item's folder that this render does not know.
// An earlier session left them, and a person who loads the folder would load
// them too.
func (plan *itemPlan) others() []string {
	if plan.poly {
		return nil
	}
	known := map[string]bool{}
	for _, t := range plan.targets {
		known[filepath.Base(t.path)] = true
	}
	entries, err := os.ReadDir(plan.folder)
	if err != nil {
		return nil // the folder does not exist yet
	}
	names := []string{}
	for _, e := range entries {
		if strings.EqualFold(filepath.Ext(e.Name()), ".wav") && !known[e.Name()] && !strings.HasPrefix(e.Name(), ".") {
			names = append(names, e.Name())
		}
	}
	return names
}
