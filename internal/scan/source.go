package scan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/zeebo/xxh3"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// source is one WAV file, found now or known from before, with what is decided
// about it on the way. What is decided follows from the facts of all sources,
// never from what the catalog made of them before.
type source struct {
	path   string       // absolute
	file   catalog.File // its facts; ID 0 = not in the catalog
	found  bool         // by this scan
	format wavfile.Format
	header catalog.FileHeader
	words  map[catalog.WordAbout]string
	// The catalog holds no header of it: what its recording says stands for it.
	old *catalog.Recording

	folders []string // names of the folders around it, innermost first
	stem    string
	clock   clock

	says  folderSays
	hint  string // what tells rigs apart before they are named
	date  catalog.Date
	label label // its show

	name  fileName
	track int  // of its first channel
	told  bool // by recorder, name or place, not assumed
	names []string
	seg   int     // place among the segments, from 0
	start int64   // frame of the recording
	after *source // of a file without a clock: the one that it comes after
}

func (s *source) frames() int64 { return s.file.Frames }

func (s *source) end() int64 { return s.start + s.file.Frames }

func (s *source) folder() string { return filepath.Dir(s.path) }

func (s *source) seconds() float64 { return float64(s.file.Frames) / float64(s.format.SampleRate) }

// clock is when a file starts by its header.
type clock struct {
	time  time.Time
	frame int64 // since 1970 at the file's rate
	known bool
	exact bool // to the frame, by a time reference
}

// ends returns the wall clock at a file's end.
func (s *source) ends() time.Time {
	return s.clock.time.Add(time.Duration(s.seconds() * float64(time.Second)))
}

// headerOf returns what the catalog keeps of a header.
func headerOf(info *wavfile.Info) catalog.FileHeader {
	var h catalog.FileHeader
	if b := info.Meta.Bext; b != nil {
		h.Originator = strings.TrimSpace(b.Originator)
		if t, ok := b.StartTime(info.Format.SampleRate); ok {
			h.StartsAt, h.Exact = &t, b.TimeReference > 0
		}
	}
	if info.Meta.IXML != nil {
		for _, t := range info.Meta.IXML.Tracks {
			h.Tracks = append(h.Tracks, catalog.HeaderTrack{Place: t.InterleaveIndex, Input: t.ChannelIndex, Name: strings.TrimSpace(t.Name)})
		}
	}
	for _, c := range info.Meta.Cues {
		h.Cues = append(h.Cues, catalog.HeaderCue{Frame: c.Frame, Length: c.Length, Label: c.Label})
	}
	return h
}

// newSource makes a source of a file's facts.
func newSource(path string, f catalog.File) *source {
	name := filepath.Base(path)
	src := &source{path: path, file: f, stem: strings.TrimSuffix(name, filepath.Ext(name))}
	src.format = formatOf(f)
	if f.Header != nil {
		src.header = *f.Header
	}
	src.readClock()
	for dir := filepath.Dir(path); ; dir = filepath.Dir(dir) {
		if dir == filepath.Dir(dir) {
			break
		}
		src.folders = append(src.folders, filepath.Base(dir))
	}
	return src
}

// formatOf returns the format of a file's samples as its header gave it.
func formatOf(f catalog.File) wavfile.Format {
	format := wavfile.Format{SampleRate: f.SampleRate, BitDepth: f.BitDepth, ContainerBytes: f.SampleBytes, Channels: f.Channels}
	if f.Encoding == wavfile.Float.String() {
		format.Encoding = wavfile.Float
	}
	return format
}

func (s *source) readClock() {
	if s.header.StartsAt == nil {
		return
	}
	t, rate := *s.header.StartsAt, int64(s.format.SampleRate)
	s.clock = clock{time: t, frame: t.Unix()*rate + (int64(t.Nanosecond())*rate+5e8)/1e9, known: true, exact: s.header.Exact}
}

// knownSources makes sources of the catalog's files. Of a file that was not seen
// since the catalog keeps headers, its recording says what the header would.
func (s *scan) knownSources() []*source {
	recordings := map[catalog.RecordingID]*catalog.Recording{}
	for i := range s.known.Recordings {
		recordings[s.known.Recordings[i].ID] = &s.known.Recordings[i]
	}
	var all []*source
	for _, f := range s.known.Files {
		src := newSource(f.FullPath(), f)
		if r := recordings[f.RecordingID]; f.Header == nil && r != nil {
			src.old = r
			if r.StartsAt != nil {
				t := r.StartsAt.Add(time.Duration(r.Seconds(f.StartFrame) * float64(time.Second)))
				src.header.StartsAt, src.header.Exact = &t, true
			}
			for _, tr := range s.known.Tracks[r.ID] {
				if at := tr.Number - f.FirstTrack; at >= 0 && at < f.Channels {
					src.header.Tracks = append(src.header.Tracks, catalog.HeaderTrack{Place: at + 1, Name: tr.Name})
				}
			}
			for _, m := range s.known.Markers[r.ID] {
				if m.Frame >= f.StartFrame && m.Frame <= f.StartFrame+f.Frames {
					src.header.Cues = append(src.header.Cues, catalog.HeaderCue{Frame: m.Frame - f.StartFrame, Length: m.Length, Label: m.Label})
				}
			}
			if r.Rig != catalog.MainRig {
				src.header.Originator = r.Rig
			}
			src.readClock()
		}
		all = append(all, src)
	}
	return all
}

// sampled is how many bytes are read at the beginning, the middle and the end of a
// new file for the address of its content.
const sampled = 16 << 10

// contentOf returns the address of a file's bytes.
func contentOf(path string, size int64) (string, error) {
	defer wavfile.Ask(path)()
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := xxh3.New()
	buf := make([]byte, sampled)
	for _, at := range []int64{0, max(size/2-sampled/2, 0), max(size-sampled, 0)} {
		n, err := f.ReadAt(buf, at)
		if n == 0 && err != nil {
			return "", err
		}
		h.Write(buf[:n])
	}
	return fmt.Sprintf("%d-%016x", size, h.Sum64()), nil
}

// readContents finds the address of what each found file holds: as the catalog
// has it where size, time and format are the same, else from the file. What cannot be read
// is left out. An address that is known stays, so that another try costs nothing.
func (s *scan) readContents(found []*source) []*source {
	known := map[string]catalog.File{}
	for _, f := range s.known.Files {
		known[f.FullPath()] = f
	}
	return slices.DeleteFunc(found, func(src *source) bool {
		if was, ok := known[src.path]; ok && was.Size == src.file.Size && was.ModTime.Equal(src.file.ModTime) && formatOf(was) == src.format && src.file.Content == "" {
			src.file.Content = was.Content
		}
		return !s.readContent(src)
	})
}

func (s *scan) readContent(src *source) bool {
	if src.file.Content != "" {
		return true
	}
	var err error
	if src.file.Content, err = contentOf(src.path, src.file.Size); err != nil {
		s.trouble(src.path, err)
	}
	return err == nil
}

// placeFound gives each file that was found its place on a volume: that which the
// catalog has it at, else below the innermost volume around it.
func (s *scan) placeFound(found []*source) {
	at := map[string]catalog.File{}
	for _, f := range s.known.Files {
		at[f.FullPath()] = f
	}
	for _, src := range found {
		src.file.ID = 0
		if f, ok := at[src.path]; ok {
			src.file.ID, src.file.VolumeID, src.file.Path, src.file.Root, src.file.RecordingID = f.ID, f.VolumeID, f.Path, f.Root, f.RecordingID
			continue
		}
		best := -1
		for i, v := range s.known.Volumes {
			if rel, ok := below(v.Root, src.path); ok && (best < 0 || len(v.Root) > len(s.known.Volumes[best].Root)) {
				best, src.file.Path = i, rel
			}
		}
		if best >= 0 {
			src.file.VolumeID, src.file.Root = s.known.Volumes[best].ID, s.known.Volumes[best].Root
		}
	}
}

// together returns all sources, found and known, in order of path, without
// copies; and notes which rows of the catalog have another place now.
func (s *scan) together(ctx context.Context, found []*source) ([]*source, error) {
	byPath := map[string]*source{}
	for _, src := range s.knownSources() {
		if s.own[src.path] || src.old == nil && own(src.header.Originator) {
			s.layout.Forget = append(s.layout.Forget, src.file.ID) // earlier versions took it for a recording
			continue
		}
		byPath[src.path] = src
	}
	for _, src := range found {
		if was := byPath[src.path]; was != nil {
			s.was[src] = was
		}
		byPath[src.path] = src
	}
	var all []*source
	for _, src := range byPath {
		src.words = s.known.Words[src.file.WordKey()]
		if was := s.was[src]; was != nil {
			// What was said of a file that grew, or was known by its path, is said of it.
			for about, value := range s.known.Words[was.file.WordKey()] {
				if src.words[about] == "" {
					s.word(src, about, value)
				}
			}
		}
		all = append(all, src)
	}
	slices.SortFunc(all, func(a, b *source) int { return cmp.Compare(a.path, b.path) })
	for _, src := range all {
		if src.found {
			s.scanWords(src)
		}
		if rig := s.kept[src.path]; rig != "" {
			s.word(src, catalog.ScanRig, rig)
		}
	}
	s.readFolders(all)
	s.keepOptions(all)
	return s.withoutCopies(ctx, all)
}

// keepOptions takes what a catalog from before has otherwise than files and folders
// tell for what somebody said at a scan then: such words were not kept.
func (s *scan) keepOptions(all []*source) {
	venues := map[catalog.ShowID]string{}
	for _, sh := range s.known.Shows {
		venues[sh.ID] = sh.Venue
	}
	for _, src := range all {
		old := src.old
		if was := s.was[src]; was != nil {
			old = was.old
		}
		if old == nil {
			continue
		}
		venue := venues[old.ShowID]
		if !src.found {
			src.says.venue = cmp.Or(venue, src.says.venue)
			continue
		}
		if venue != "" && venue != src.says.venue && src.words[catalog.SaidVenue] == "" {
			s.word(src, catalog.SaidVenue, venue)
		}
		if date := old.Show.Date(); src.says.date != "" && src.says.date != date && src.words[catalog.SaidShow] == "" {
			s.word(src, catalog.SaidShow, string(date))
		}
		if old.Rig != catalog.MainRig && src.says.rig == "" && old.Rig != src.header.Originator && !strings.HasPrefix(old.Rig, "rig ") && src.words[catalog.ScanRig] == "" {
			s.word(src, catalog.ScanRig, old.Rig)
		}
	}
}

// word stores a word about a file, to be kept with the new layout.
func (s *scan) word(src *source, about catalog.WordAbout, value string) {
	if src.words[about] == value {
		return
	}
	words := map[catalog.WordAbout]string{}
	for a, v := range src.words {
		words[a] = v
	}
	words[about] = value
	src.words = words
	s.layout.Words = append(s.layout.Words, catalog.Word{Content: src.file.WordKey(), About: about, Value: value})
}

// scanWords keeps what the caller says about the files of this scan.
func (s *scan) scanWords(src *source) {
	for about, value := range map[catalog.WordAbout]string{
		catalog.ScanDate: string(s.opt.Date), catalog.ScanRig: s.opt.Rig, catalog.SaidVenue: s.opt.Venue, catalog.ScanPattern: s.opt.NamePattern,
	} {
		if value != "" {
			s.word(src, about, value)
		}
	}
}

// withoutCopies takes out files that are copies of others: of two folders in
// which all files of the same name are the same, one is a copy, unless the
// folders name two rigs or dates. The one that is there counts, of several the
// first by path.
func (s *scan) withoutCopies(ctx context.Context, all []*source) ([]*source, error) {
	byName := map[string][]*source{}
	c := copyFinder{scan: s, folders: map[string]map[string]*source{}, same: map[[2]*source]bool{}, pairs: map[[2]string]bool{}}
	for _, src := range all {
		name := strings.ToLower(filepath.Base(src.path))
		for _, key := range alikeBy(src, name) {
			byName[key] = append(byName[key], src)
		}
		if c.folders[src.folder()] == nil {
			c.folders[src.folder()] = map[string]*source{}
		}
		c.folders[src.folder()][name] = src
	}
	there := map[*source]bool{}
	isThere := func(src *source) bool {
		if _, ok := there[src]; !ok {
			answered := wavfile.Ask(src.path)
			_, err := os.Stat(src.path)
			answered()
			there[src] = src.found || err == nil
		}
		return there[src]
	}
	gone := map[*source]bool{}
	said := map[string]bool{}
	for _, src := range all {
		var others []*source
		for _, key := range alikeBy(src, strings.ToLower(filepath.Base(src.path))) {
			others = append(others, byName[key]...)
		}
		for _, o := range others {
			if o == src || gone[o] || gone[src] || o.folder() == src.folder() {
				continue
			}
			if here, alike := isThere(src) && isThere(o), src.says.rig == o.says.rig && src.says.date == o.says.date; here && !alike || !isThere(src) && !isThere(o) {
				continue
			}
			if yes, err := c.copies(ctx, src, o); err != nil {
				return nil, err
			} else if !yes {
				continue
			}
			keep, drop := src, o
			if a, b := isThere(src), isThere(o); a != b && b || a == b && o.path < src.path {
				keep, drop = o, src
			}
			gone[drop] = true
			s.replaced(keep, drop)
			if isThere(drop) && (keep.found || drop.found) && !said[drop.folder()] {
				said[drop.folder()] = true
				s.note("%s holds copies of the files in %s: they are no rig of their own", drop.folder(), keep.folder())
			}
		}
	}
	return slices.DeleteFunc(all, func(src *source) bool { return gone[src] }), nil
}

// copyFinder compares files and folders, each pair once.
type copyFinder struct {
	*scan
	folders map[string]map[string]*source // by folder and name in lower case
	same    map[[2]*source]bool
	pairs   map[[2]string]bool
}

// copies reports whether all files that two files' folders have in common by name,
// these among them, hold the same.
func (c *copyFinder) copies(ctx context.Context, a, b *source) (bool, error) {
	key := [2]string{a.folder(), b.folder()}
	yes, asked := c.pairs[key]
	if asked {
		return yes, nil
	}
	yes = true
	for name, x := range c.folders[a.folder()] {
		y := c.folders[b.folder()][name]
		if y == nil || !yes {
			continue
		}
		var err error
		if yes, err = c.equal(ctx, x, y); err != nil {
			return false, err
		}
	}
	c.pairs[key] = yes
	return yes, nil
}

// equal reports whether two files hold the same: by the address of their content,
// else by the first bytes, if the catalog does not know it of one of them.
func (c *copyFinder) equal(ctx context.Context, a, b *source) (bool, error) {
	if a.file.Size != b.file.Size || !sameFormat(a, b) {
		return false, nil
	}
	if a.file.Content != "" && b.file.Content != "" {
		return a.file.Content == b.file.Content, nil
	}
	if a.old == nil {
		a, b = b, a
	}
	if a.old == nil || !b.found {
		return false, nil
	}
	if yes, ok := c.same[[2]*source{a, b}]; ok {
		return yes, nil
	}
	yes, err := sameBeginning(ctx, c.store, a.file, b.path)
	c.same[[2]*source{a, b}] = yes
	return yes, err
}

// replaced lets the row of a copy, or of a file that is elsewhere now, be that of
// the file that is kept, if that one has none.
func (s *scan) replaced(keep, drop *source) {
	if drop.file.ID == 0 {
		return
	}
	if keep.file.ID != 0 {
		s.layout.Forget = append(s.layout.Forget, drop.file.ID)
		return
	}
	keep.file.ID, keep.file.RecordingID = drop.file.ID, drop.file.RecordingID
	s.layout.Moved = append(s.layout.Moved, catalog.MovedFile{ID: drop.file.ID, Volume: keep.file.VolumeID, Path: keep.file.Path})
	s.was[keep] = drop
	if w := s.was[drop]; w != nil {
		s.was[keep] = w
	}
	for about, value := range drop.words {
		if keep.words[about] == "" {
			s.word(keep, about, value)
		}
	}
}

func sameFormat(a, b *source) bool { return a.format == b.format && a.file.Frames == b.file.Frames }

// alikeBy returns what a file has in common with files that may be copies of it:
// name and content; name and size where the catalog does not know the content.
func alikeBy(src *source, name string) (keys []string) {
	if src.file.Content != "" {
		keys = append(keys, name+"/"+src.file.Content)
	}
	if src.old != nil || src.found && src.file.ID == 0 {
		keys = append(keys, fmt.Sprint(name, "/", src.file.Size))
	}
	return keys
}

// missing reports whether a file that the catalog knows is gone though its drive is
// there.
func missing(f catalog.File) bool {
	defer wavfile.Ask(f.FullPath())()
	_, err := os.Stat(f.Root)
	_, gone := os.Stat(f.FullPath())
	return err == nil && errors.Is(gone, fs.ErrNotExist)
}
