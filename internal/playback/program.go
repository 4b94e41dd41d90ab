package playback

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/tracks"
)

// Program is a session prepared for playing: spans, files, gains. It is made
// from the catalog alone and does not need it afterwards; the player opens the
// recordings.
type Program struct {
	Session catalog.SessionID `json:"session"`
	Desk    string            `json:"desk"`
	Rate    int               `json:"sample_rate"` // Hz, at which it is played
	Outputs int               `json:"outputs"`     // highest output in use
	Items   []ProgramItem     `json:"items"`
	Inputs  []ProgramInput    `json:"inputs"` // in order of desk input
	// Problems list what will not sound as in the session.
	Problems []string `json:"problems"`
}

// ProgramInput is a desk input that gets a signal in at least one item.
type ProgramInput struct {
	DeskInput int    `json:"desk_input"`
	Output    int    `json:"output"`
	Channel   string `json:"channel"`
}

// ProgramItem is one take.
type ProgramItem struct {
	Song    string          `json:"song"`
	Show    catalog.ShowKey `json:"show"`
	Rig     string          `json:"rig"`
	LengthS float64         `json:"length_s"`
	Frames  int64           `json:"frames"` // at the program's rate
	Markers []ProgramMarker `json:"markers"`
	Voices  []Voice         `json:"voices"` // inputs that play
	// Status of every input of Program.Inputs in this item.
	Status []catalog.InputStatus `json:"status"`
}

// ProgramMarker is a marker of the recording within the item.
type ProgramMarker struct {
	AtS   float64 `json:"at_s"` // from the take's start
	Label string  `json:"label"`
}

// Voice is the signal of one output during an item.
type Voice struct {
	Output  int      `json:"output"` // from 1
	TrimDB  float64  `json:"trim_db"`
	Rate    int      `json:"sample_rate"` // Hz, of the recording
	Sources []Source `json:"sources"`     // in order of time
}

// Source is one channel of one file. Start, From and To are frames from the take's
// start at the voice's rate; they may be negative.
type Source struct {
	tracks.File
	Channel int   `json:"channel"` // in the file, from 0
	Start   int64 `json:"start"`   // the file's first frame
	From    int64 `json:"from"`    // the first frame that is used; sources of a voice never overlap
	To      int64 `json:"to"`      // the frame after the last one that is used
}

// ProgramOptions are the choices of [NewProgram].
type ProgramOptions struct {
	// Rate is the rate to play at in Hz; 0 takes the recordings'.
	Rate int
	// ConvertRate allows converting recordings of another rate.
	ConvertRate bool
	// Rigs names, by channel, rigs that feed channels instead of the session's
	// rig.
	Rigs map[string]string
}

// maxPreRollS is the longest pre-roll, and so the longest part of a recording
// before a take that is needed. tailS is what a fade may need after the take.
// Both in seconds.
const (
	maxPreRollS = 60
	tailS       = 2
)

// RateError reports that a session cannot be played at one rate without
// conversion.
type RateError struct {
	Rate  int              // Hz, wanted
	Songs map[int][]string // rate of the recording: songs
}

func (e *RateError) Error() string {
	parts := []string{}
	for _, r := range sortedKeys(e.Songs) {
		parts = append(parts, fmt.Sprintf("%s at %s", strings.Join(e.Songs[r], ", "), kilohertz(r)))
	}
	if e.Rate == 0 {
		return "the session has takes of different sample rates: " + strings.Join(parts, "; ")
	}
	return fmt.Sprintf("the player would run at %s, but these were recorded otherwise: %s", kilohertz(e.Rate), strings.Join(parts, "; "))
}

// Hint says what to do about it.
func (e *RateError) Hint() string {
	return "set the device and the desk to the recording's rate, play takes of one rate in one session, or allow conversion with --convert-rate"
}

func kilohertz(rate int) string { return fmt.Sprintf("%g kHz", float64(rate)/1000) }

// NewProgram prepares a session for playing. Errors: *[RateError] for takes of
// another rate without ConvertRate.
func NewProgram(ctx context.Context, store *catalog.Store, ses catalog.Session, opt ProgramOptions) (*Program, error) {
	p := &Program{Session: ses.ID, Desk: ses.Desk, Rate: opt.Rate, Items: []ProgramItem{}, Inputs: []ProgramInput{}, Problems: []string{}}
	b := &programmer{store: store, opt: opt, p: p, files: map[catalog.RecordingID][]catalog.File{}}
	p.addInputs(ses)
	if len(p.Inputs) == 0 {
		return nil, fmt.Errorf("session %d: nothing to play: no desk input of it is on playback", ses.ID)
	}
	if p.Outputs > MaxOutputs {
		return nil, fmt.Errorf("session %d: output %d: a device can have at most %d outputs", ses.ID, p.Outputs, MaxOutputs)
	}
	for i := range ses.Items {
		if err := b.item(ctx, ses, i); err != nil {
			return nil, err
		}
	}
	trims, err := p.listedTrims()
	if err != nil {
		return nil, err
	}
	for i, db := range trims {
		if db > catalog.AskTrimDB {
			p.Problems = append(p.Problems, fmt.Sprintf("the session raises input %d %s by %+.1f dB; check the gain before it sounds", p.Inputs[i].DeskInput, p.Inputs[i].Channel, db))
		}
	}
	return p, b.rates()
}

// addInputs lists the desk inputs that play in at least one item.
func (p *Program) addInputs(ses catalog.Session) {
	seen := map[int]bool{}
	for _, in := range ses.Inputs {
		if in.Status != catalog.Playback || seen[in.DeskInput] {
			continue
		}
		seen[in.DeskInput] = true
		out := in.Output
		if out == 0 {
			out = in.DeskInput
		}
		p.Inputs = append(p.Inputs, ProgramInput{in.DeskInput, out, in.Channel})
		p.Outputs = max(p.Outputs, out)
	}
	slices.SortFunc(p.Inputs, func(a, b ProgramInput) int { return a.DeskInput - b.DeskInput })
}

// programmer caches what one program needs of the catalog.
type programmer struct {
	store *catalog.Store
	opt   ProgramOptions
	p     *Program
	files map[catalog.RecordingID][]catalog.File
}

func (b *programmer) item(ctx context.Context, ses catalog.Session, i int) error {
	it := ses.Items[i]
	night, err := b.store.Recordings(ctx, catalog.RecordingFilter{Show: it.Show})
	if err != nil {
		return err
	}
	at := slices.IndexFunc(night, func(r catalog.Recording) bool { return r.ID == it.Recording })
	if at < 0 {
		return fmt.Errorf("%s (%s): its recording is no longer in the catalog; scan it again and build the session again", it.Song, it.Show)
	}
	rec := night[at]
	item := ProgramItem{Song: it.Song, Show: it.Show, Rig: it.Rig, LengthS: rec.Seconds(it.EndFrame - it.StartFrame), Markers: []ProgramMarker{}, Voices: []Voice{}}
	markers, err := b.store.Markers(ctx, rec.ID)
	if err != nil {
		return err
	}
	for _, m := range markers {
		if it.StartFrame <= m.Frame && m.Frame < it.EndFrame {
			item.Markers = append(item.Markers, ProgramMarker{rec.Seconds(m.Frame - it.StartFrame), m.Label})
		}
	}
	item.Status = make([]catalog.InputStatus, len(b.p.Inputs))
	for k := range item.Status {
		item.Status[k] = catalog.Stage
	}
	for _, in := range ses.Inputs {
		k := slices.IndexFunc(b.p.Inputs, func(p ProgramInput) bool { return p.DeskInput == in.DeskInput })
		if in.Item != i || k < 0 {
			continue
		}
		item.Status[k] = in.Status
		if in.Status != catalog.Playback {
			continue
		}
		v, err := b.voice(ctx, it, rec, night, in)
		if err != nil {
			return err
		}
		if v == nil {
			item.Status[k] = catalog.Missing
			continue
		}
		v.Output = b.p.Inputs[k].Output
		if !slices.ContainsFunc(item.Voices, func(o Voice) bool { return o.Output == v.Output }) {
			item.Voices = append(item.Voices, *v)
		}
	}
	b.p.Items = append(b.p.Items, item)
	return nil
}

// voice finds the files that feed an input during an item. If the rig has none,
// it returns nil and adds a problem.
func (b *programmer) voice(ctx context.Context, it catalog.SessionItem, ref catalog.Recording, night []catalog.Recording, in catalog.SessionInput) (*Voice, error) {
	rig := in.Rig
	for channel, other := range b.opt.Rigs {
		if catalog.SameName(channel, in.Channel) {
			rig = other
		}
	}
	rec, track := ref, in.Track
	if !catalog.SameName(rig, ref.Rig) {
		k := slices.IndexFunc(night, func(r catalog.Recording) bool { return catalog.SameName(r.Rig, rig) })
		if k >= 0 {
			rec, track = night[k], 0
			found, err := b.store.Tracks(ctx, catalog.TrackFilter{Recording: rec.ID, Channel: in.Channel})
			if err != nil {
				return nil, err
			}
			if len(found) > 0 {
				track = found[0].Number
			}
		}
		if k < 0 || track == 0 {
			b.p.Problems = append(b.p.Problems, fmt.Sprintf("%s (%s), desk input %d %s: rig %s did not record it that night; it stays silent", it.Song, it.Show, in.DeskInput, in.Channel, rig))
			return nil, nil
		}
	}
	files, known := b.files[rec.ID]
	if !known {
		var err error
		if files, err = b.store.Files(ctx, catalog.FileFilter{Recording: rec.ID}); err != nil {
			return nil, err
		}
		b.files[rec.ID] = files
	}
	start, end := ref.Map(it.StartFrame, rec), ref.Map(it.EndFrame, rec)
	v := &Voice{TrimDB: in.TrimDB, Rate: rec.SampleRate, Sources: []Source{}}
	first, last := start-int64(maxPreRollS*rec.SampleRate), end+int64(tailS*rec.SampleRate)
	held := tracks.Holding(files, track)
	for _, s := range tracks.Stretches(held, min(0, first), max(rec.Frames, last)) {
		if s.File < 0 || s.From >= last || s.To <= first {
			continue
		}
		f := held[s.File]
		v.Sources = append(v.Sources, Source{File: tracks.Describe(rec, f), Channel: track - f.FirstTrack,
			Start: f.StartFrame - start, From: s.From - start, To: s.To - start})
	}
	return v, nil
}

// listedTrims returns for each input the highest trim of any item. A trim beyond
// catalog.MostTrimDB is refused: it comes from a wrong gain.
func (p *Program) listedTrims() ([]float64, error) {
	trims := make([]float64, len(p.Inputs))
	for i, in := range p.Inputs {
		first := true
		for _, it := range p.Items {
			for _, v := range it.Voices {
				if v.Output != in.Output {
					continue
				}
				if !within(v.TrimDB, -catalog.MostTrimDB, catalog.MostTrimDB) {
					return nil, &TrimError{in.DeskInput, in.Channel, it.Song, v.TrimDB}
				}
				if first || v.TrimDB > trims[i] {
					trims[i], first = v.TrimDB, false
				}
			}
		}
	}
	return trims, nil
}

// TrimError reports that a session trims an input by more than any preamp would.
type TrimError struct {
	DeskInput int
	Channel   string
	Song      string
	DB        float64
}

func (e *TrimError) Error() string {
	return fmt.Sprintf("the session trims input %d %s by %+.1f dB in %s; more than %d dB is not played", e.DeskInput, e.Channel, e.DB, e.Song, catalog.MostTrimDB)
}

// Hint says what to do about it.
func (e *TrimError) Hint() string {
	return "correct the gain in the desk's patch or in the night's input list, then build the session again"
}

// rates determines the rate of the program and the length of its items.
func (b *programmer) rates() error {
	songs := map[int][]string{}
	frequent := 0
	for _, it := range b.p.Items {
		for _, v := range it.Voices {
			if !slices.Contains(songs[v.Rate], it.Song) {
				songs[v.Rate] = append(songs[v.Rate], it.Song)
			}
		}
	}
	for _, r := range sortedKeys(songs) {
		if len(songs[r]) >= len(songs[frequent]) {
			frequent = r // if several are equally frequent, the highest
		}
	}
	if b.p.Rate == 0 {
		b.p.Rate = frequent
		if len(songs) > 1 && !b.opt.ConvertRate {
			return &RateError{Songs: songs}
		}
	}
	if !b.opt.ConvertRate {
		delete(songs, b.p.Rate)
		if len(songs) > 0 {
			return &RateError{Rate: b.p.Rate, Songs: songs}
		}
	}
	for r := range songs {
		if !convertible(r, b.p.Rate) {
			return fmt.Errorf("recordings at %d Hz cannot be converted to %d Hz: the ratio is too odd; play at another rate", r, b.p.Rate)
		}
	}
	for i := range b.p.Items {
		b.p.Items[i].Frames = int64(math.Round(b.p.Items[i].LengthS * float64(b.p.Rate)))
	}
	return nil
}

func sortedKeys[V any](m map[int]V) []int {
	keys := []int{}
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
