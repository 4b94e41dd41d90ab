package demo

import (
	"context"
	"fmt"
	"math"
	"os"
	"path"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"nightreel/internal/wavfile"
)

// maker makes one tour.
type maker struct {
	dir   string
	opt   Options
	truth *Truth

	mu          sync.Mutex // guards done
	done, total int64
}

// wrote adds n bytes to the progress.
func (m *maker) wrote(n int) {
	if m.opt.Progress == nil {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.done = min(m.done+int64(n), m.total)
	m.opt.Progress(m.done, m.total)
}

// blockFrames is the number of frames that are made at a time.
const blockFrames = 8192

// show makes one night's recordings and adds them to the truth.
func (m *maker) show(ctx context.Context, sh showPlan, sc *score) error {
	rate := sh.rigs[0].rate // all rigs of a show run at one rate
	sc.length = math.Floor(sc.length*float64(rate)) / float64(rate)
	stems, err := makeStems(ctx, sh, sc, rate)
	if err != nil {
		return err
	}
	planted := plant(sh, sc, rate, m.opt.Scale)
	m.truth.Faults = append(m.truth.Faults, planted.faults...)
	show := Show{Date: sh.date(), Venue: sh.venue, Folder: sh.folder, Recordings: []Recording{}}
	for i, rig := range sh.rigs {
		r := newRecorder(m, sh, sc, rig)
		for k, ch := range sh.patch {
			if planted.unrecorded[k] {
				continue
			}
			r.tracks = append(r.tracks, newTrack(sh, rig, i, ch, &stems, planted.damage[i][k]))
		}
		if sh.crackingShot {
			r.crack(sc.takes[2])
		}
		if err := r.record(ctx); err != nil {
			return err
		}
		if err := r.cutPower(planted.unfinished); err != nil {
			return err
		}
		show.Recordings = append(show.Recordings, r.recording())
		for _, t := range r.tracks {
			m.truth.Faults = append(m.truth.Faults, t.counted(sh, rig, r.begin)...)
		}
		if i > 0 {
			for _, f := range planted.faults {
				if f.Kind == "dead" {
					f.Rig, f.EndS = rig.name, float64(r.end-r.begin)/float64(rate)
					m.truth.Faults = append(m.truth.Faults, f)
				}
			}
		}
	}
	m.truth.Shows = append(m.truth.Shows, show)
	m.truth.Healthy = append(m.truth.Healthy, healthy(sh, planted.faults)...)
	for _, t := range sc.takes {
		t.Show = sh.date()
		m.truth.Takes = append(m.truth.Takes, t)
	}
	return nil
}

// newTrack returns the track of a channel on a rig.
func newTrack(sh showPlan, rig rigPlan, rigIndex, ch int, stems *[nSources]stem, d damage) *track {
	scale := math.Ldexp(1, rig.bits-1)
	heard := ch
	if d.carries >= 0 {
		heard = d.carries
	}
	return &track{
		number: sh.track(ch), channel: ch, stems: stems,
		feeds:  pickups()[heard].feeds(rig.rate, sh.gain(heard), channels()[heard].gainDB),
		preamp: newNoise(sh.seed, heard, 1000), floor: dB(pickups()[heard].floorDBFS(sh.gain(heard))),
		converter: newNoise(sh.seed, ch, 2000+rigIndex), converterFloor: dB(converterDBFS(rig.bits)),
		damage: d,
		top:    (scale - 1.5) / scale,
	}
}

// recorder is one rig recording one show.
type recorder struct {
	m          *maker
	sh         showPlan
	sc         *score
	rig        rigPlan
	begin, end int64 // frames of the show
	cuts       []int64
	tracks     []*track
	files      []string // relative to the tour's folder
}

func newRecorder(m *maker, sh showPlan, sc *score, rig rigPlan) *recorder {
	at := func(part float64) int64 { return int64(part * math.Round(sc.length*float64(rig.rate))) }
	r := &recorder{m: m, sh: sh, sc: sc, rig: rig, begin: at(rig.from), end: at(rig.to)}
	r.cuts = append(r.cuts, r.begin)
	for _, s := range rig.segments {
		r.cuts = append(r.cuts, at(s))
	}
	r.cuts = append(r.cuts, r.end)
	return r
}

// crack raises the loudest stroke of the snare in a take to -0.1 dBFS. It is
// applied before the split, so that every rig records it.
func (r *recorder) crack(t Take) {
	i := slices.IndexFunc(r.tracks, func(t *track) bool { return t.channel == snareTop })
	snare := *r.tracks[i]
	rate := float64(r.rig.rate)
	from := int64(t.StartS * rate)
	block := make([]float64, int(t.EndS*rate)-int(from))
	snare.fill(block, from)
	at := 0
	for k, x := range block {
		if math.Abs(x) > math.Abs(block[at]) {
			at = k
		}
	}
	r.tracks[i].shot = shot{at: from + int64(at), width: int64(0.04 * rate), factor: dB(-0.1) / math.Abs(block[at])}
}

// record writes all files of the recording.
func (r *recorder) record(ctx context.Context) error {
	if err := os.MkdirAll(r.m.path(path.Join(r.sh.folder, r.rig.folder)), 0o777); err != nil {
		return err
	}
	if r.rig.form == polyphonic || r.rig.form == polyphonic64 {
		return r.recordTogether(ctx)
	}
	// Name the files first, so that their order does not depend on the
	// goroutines' speed.
	for _, t := range r.tracks {
		for seg := range len(r.cuts) - 1 {
			r.files = append(r.files, r.name(seg, t))
		}
	}
	return parallel(ctx, len(r.tracks), func(i int) error {
		t := r.tracks[i]
		for seg := range len(r.cuts) - 1 {
			if err := r.file(ctx, seg, []*track{t}); err != nil {
				return err
			}
		}
		return nil
	})
}

func (r *recorder) recordTogether(ctx context.Context) error {
	for seg := range len(r.cuts) - 1 {
		r.files = append(r.files, r.name(seg, nil))
		if err := r.file(ctx, seg, r.tracks); err != nil {
			return err
		}
	}
	return nil
}

// name returns the name of a file relative to the tour's folder; t is nil for a
// polyphonic one.
func (r *recorder) name(seg int, t *track) string {
	var s string
	switch r.rig.form {
	case numbered:
		s = fmt.Sprintf("%02d %s.wav", t.number, channels()[t.channel].name)
	case named:
		s = fmt.Sprintf("%s_%02d.wav", channels()[t.channel].name, seg+1)
	case tracks:
		s = fmt.Sprintf("TRK%02d_%04d.wav", t.number, seg+1)
	default:
		s = fmt.Sprintf("Larks_%04d.wav", seg+1)
	}
	return path.Join(r.sh.folder, r.rig.folder, s)
}

// file writes one segment of some tracks, interleaved.
func (r *recorder) file(ctx context.Context, seg int, ts []*track) error {
	from, to := r.cuts[seg], r.cuts[seg+1]
	name := r.name(seg, only(ts))
	if e := ts[0].damage.ends; len(ts) == 1 && e >= 0 {
		to = min(to, e)
	}
	f := wavfile.Format{SampleRate: r.rig.rate, Channels: len(ts), BitDepth: r.rig.bits, ContainerBytes: r.rig.bits / 8}
	w, err := wavfile.Options{ForceRF64: r.rig.form == polyphonic64}.Create(r.m.path(name), f, r.meta(seg, ts))
	if err != nil {
		return err
	}
	defer w.Abort()

	blocks := make([][]float64, len(ts))
	for i := range blocks {
		blocks[i] = make([]float64, blockFrames)
	}
	frames := make([]float64, blockFrames*len(ts))
	raw := make([]byte, blockFrames*f.FrameBytes())
	for at := from; at < to; at += blockFrames {
		if err := ctx.Err(); err != nil {
			return err
		}
		n := int(min(blockFrames, to-at))
		fill := func(i int) error {
			ts[i].fill(blocks[i][:n], at)
			for k, x := range blocks[i][:n] {
				frames[k*len(ts)+i] = x
			}
			return nil
		}
		if len(ts) == 1 {
			fill(0)
		} else if err := parallel(ctx, len(ts), fill); err != nil {
			return err
		}
		part := raw[:n*f.FrameBytes()]
		f.Encode(part, frames[:n*len(ts)])
		if err := w.WriteFrames(part); err != nil {
			return err
		}
		r.m.wrote(len(part))
	}
	if err := w.Close(); err != nil {
		return err
	}
	return r.m.stamp(name, r.time(to))
}

// only returns the only track, or nil if there are several.
func only(ts []*track) *track {
	if len(ts) == 1 {
		return ts[0]
	}
	return nil
}

// time returns the wall-clock time of a frame of the show.
func (r *recorder) time(frame int64) time.Time {
	return r.sh.starts.Add(time.Duration(frame) * time.Second / time.Duration(r.rig.rate))
}

// meta returns the metadata that the recorder writes into a file.
func (r *recorder) meta(seg int, ts []*track) wavfile.Meta {
	from := r.cuts[seg]
	starts := r.time(from)
	y, mo, d := starts.Date()
	midnight := time.Date(y, mo, d, 0, 0, 0, 0, time.UTC)
	// Counted in frames, not from the rounded time: segments join exactly.
	reference := int64(r.sh.starts.Sub(midnight)/time.Second)*int64(r.rig.rate) + from
	m := wavfile.Meta{Bext: &wavfile.Bext{
		Description:     band + ", " + r.sh.venue,
		Originator:      r.rig.originate,
		OriginationDate: starts.Format(time.DateOnly),
		OriginationTime: starts.Format(time.TimeOnly),
		TimeReference:   uint64(reference),
		Version:         1,
	}}
	if r.rig.form != tracks {
		m.IXML = &wavfile.IXML{Project: band, Scene: r.sh.venue, Tape: r.sh.date(), Take: fmt.Sprint(seg + 1)}
		for i, t := range ts {
			m.IXML.Tracks = append(m.IXML.Tracks, wavfile.IXMLTrack{
				ChannelIndex: t.number, InterleaveIndex: i + 1, Name: channels()[t.channel].name})
		}
	}
	if r.rig.form == polyphonic64 {
		for _, t := range r.sc.takes {
			if f := int64(math.Round(t.StartS * float64(r.rig.rate))); f >= from && f < r.cuts[seg+1] {
				m.Cues = append(m.Cues, wavfile.Cue{ID: uint32(len(m.Cues) + 1), Frame: f - from, Label: t.Song})
			}
		}
	}
	return m
}

// cutPower gives the files of some tracks the header that a recorder leaves in a
// power cut: both sizes 0. The first file also ends within a sample.
func (r *recorder) cutPower(numbers []int) error {
	for i, n := range numbers {
		k := slices.IndexFunc(r.tracks, func(t *track) bool { return t.number == n })
		if err := cutPower(r.m.path(r.files[k]), i == 0); err != nil {
			return err
		}
		if err := r.m.stamp(r.files[k], r.time(r.end)); err != nil {
			return err
		}
	}
	return nil
}

func cutPower(name string, inSample bool) error {
	w, err := wavfile.Open(name)
	if err != nil {
		return err
	}
	info := w.Info()
	if err := w.Close(); err != nil {
		return err
	}
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, at := range []int64{4, info.DataOffset - 4} {
		if _, err := f.WriteAt(make([]byte, 4), at); err != nil {
			return err
		}
	}
	if inSample {
		if err := f.Truncate(info.FileBytes - 1); err != nil {
			return err
		}
	}
	if err := f.Sync(); err != nil {
		return err
	}
	return f.Close()
}

// recording returns the recording's entry in the truth.
func (r *recorder) recording() Recording {
	return Recording{
		Rig: r.rig.name, Folder: path.Join(r.sh.folder, r.rig.folder), StartsAt: r.time(r.begin),
		OffsetS: float64(r.begin) / float64(r.rig.rate), SampleRate: r.rig.rate, BitDepth: r.rig.bits,
		Frames: r.end - r.begin, Tracks: len(r.tracks), Files: r.files,
	}
}

// stamp sets a file's times to when the recorder closed it.
func (m *maker) stamp(name string, t time.Time) error { return os.Chtimes(m.path(name), t, t) }

// put writes a small file under a temporary name, syncs and renames it.
func put(name string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(name), ".new-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Chmod(f.Name(), 0o644); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
