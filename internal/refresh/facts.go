package refresh

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"path"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/songs"
)

// facts holds digests of each show's facts, one for each kind of result that
// depends on them.
type facts struct {
	shows []catalog.ShowKey // in the order of the catalog
	of    map[catalog.ShowKey]*showFacts
	// channels has the shows that recorded each channel, by its key.
	channels map[string][]catalog.ShowKey
}

type showFacts struct {
	sound    string // of the reference recording's sound, which other shows compare with
	songs    string // of all that placing songs depends on
	all      string // of all that the judges depend on, except takes
	channels []string
	recorded bool // it has a recording
}

// digest returns 16 bytes of SHA-256 over the JSON of values, in hexadecimal.
// JSON writes maps in order of key and floats in their shortest form, so equal
// values have equal digests on every machine.
func digest(values ...any) string {
	h := sha256.New()
	e := json.NewEncoder(h)
	for _, v := range values {
		if err := e.Encode(v); err != nil {
			fmt.Fprintf(h, "%+v", v) // JSON refuses NaN and infinities; no digested value can be one
		}
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// factRecording holds what a digest includes of a recording. Ids are local and
// left out.
type factRecording struct {
	Recording catalog.Recording
	Frames    int64
	Bytes     int
	Measured  string
	Tracks    []factTrack
	Files     []factFile
}

type factTrack struct {
	Number  int
	Name    string
	Assumed bool
	Frames  int64
	Channel string
	Input   catalog.Input
}

type factFile struct {
	Name                                                   string // without folders: they depend on where a drive is mounted
	Size                                                   int64
	Segment, First, Channels, StartFrame, Frames, DataFrom int64
	Unfinished                                             bool
	Repairs                                                []catalog.Repair
}

// readFacts reads the whole tour.
func readFacts(ctx context.Context, store *catalog.Store) (*facts, error) {
	shows, err := store.Shows(ctx, catalog.ShowFilter{})
	if err != nil {
		return nil, err
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{})
	if err != nil {
		return nil, err
	}
	files, err := store.Files(ctx, catalog.FileFilter{})
	if err != nil {
		return nil, err
	}
	takes, err := store.Takes(ctx, catalog.TakeFilter{})
	if err != nil {
		return nil, err
	}
	lists, err := store.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	titles, err := store.EnteredTitles(ctx)
	if err != nil {
		return nil, err
	}
	tracksOf := map[catalog.RecordingID][]catalog.Track{}
	for _, t := range tracks {
		tracksOf[t.RecordingID] = append(tracksOf[t.RecordingID], t)
	}
	filesOf := map[catalog.RecordingID][]factFile{}
	for _, f := range files {
		filesOf[f.RecordingID] = append(filesOf[f.RecordingID], factFile{path.Base(f.Path), f.Size, int64(f.Segment), int64(f.FirstTrack), int64(f.Channels), f.StartFrame, f.Frames, f.DataOffset, f.Unfinished, f.Repairs})
	}
	takesOf := map[catalog.ShowKey][]catalog.Take{}
	for _, t := range takes {
		if t.FoundBy == catalog.ByPerson {
			takesOf[t.Show] = append(takesOf[t.Show], t)
		}
	}
	f := &facts{of: map[catalog.ShowKey]*showFacts{}, channels: map[string][]catalog.ShowKey{}}
	for _, show := range shows {
		sf, err := readShow(ctx, store, show, tracksOf, filesOf, takesOf[show.Key], lists, titles)
		if err != nil {
			return nil, err
		}
		f.shows = append(f.shows, show.Key)
		f.of[show.Key] = sf
		for _, c := range sf.channels {
			f.channels[c] = append(f.channels[c], show.Key)
		}
	}
	return f, nil
}

// readShow digests the facts of one show.
func readShow(ctx context.Context, store *catalog.Store, show catalog.Show, tracksOf map[catalog.RecordingID][]catalog.Track, filesOf map[catalog.RecordingID][]factFile, persons []catalog.Take, lists []catalog.InputList, titles map[string]string) (*showFacts, error) {
	sf := &showFacts{recorded: len(show.Recordings) > 0}
	recordings := []factRecording{}
	at := map[catalog.RecordingID]int{}
	var inForce [][]catalog.Input
	for i, r := range show.Recordings {
		measured, err := store.MeasuredDigest(ctx, r.ID)
		if err != nil {
			return nil, err
		}
		of := factRecording{Recording: r, Frames: r.Frames, Bytes: r.SampleBytes, Measured: measured, Files: filesOf[r.ID]}
		of.Recording.ID, of.Recording.Files = 0, 0
		for _, t := range tracksOf[r.ID] {
			of.Tracks = append(of.Tracks, factTrack{t.Number, t.Name, t.Assumed, t.Frames, t.Channel, t.Input})
			if c := catalog.Key(t.Channel); !slices.Contains(sf.channels, c) {
				sf.channels = append(sf.channels, c)
			}
		}
		at[r.ID] = i
		recordings = append(recordings, of)
		inForce = append(inForce, catalog.InForce(lists, show.Key, r.Rig))
	}
	marks, err := songs.Marks(ctx, store, show.Recordings, titles)
	if err != nil {
		return nil, err
	}
	setList, err := store.SetList(ctx, show.Key)
	if err != nil {
		return nil, err
	}
	dismissed, err := store.Dismissed(ctx, show.Key)
	if err != nil {
		return nil, err
	}
	entries, gone, placed := []any{}, []any{}, []any{}
	for _, e := range setList {
		entries = append(entries, []any{e.Song, e.StartS, e.EndS, e.Clock})
	}
	for _, d := range dismissed {
		gone = append(gone, []any{d.Song, d.StartS, d.EndS})
	}
	for _, t := range persons {
		placed = append(placed, []any{t.Song, at[t.RecordingID], t.StartFrame, t.EndFrame})
	}
	heard := make([]factRecording, len(recordings)) // without the fields that no song depends on
	for i, r := range recordings {
		heard[i] = r
		heard[i].Files = nil
		heard[i].Tracks = nil
		for _, t := range r.Tracks {
			heard[i].Tracks = append(heard[i].Tracks, factTrack{Number: t.Number, Name: t.Name, Frames: t.Frames, Channel: t.Channel})
		}
	}
	if len(heard) > 0 {
		sf.sound = digest(heard[0])
	}
	sf.songs = digest(show.Key, heard, marks, entries, gone, placed)
	sf.all = digest(show.Key, recordings, inForce)
	slices.Sort(sf.channels)
	return sf, nil
}
