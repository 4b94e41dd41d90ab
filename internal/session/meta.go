package session

import (
	"encoding/hex"
	"fmt"
	"time"

	"nightreel/catalog"
	"nightreel/internal/wavfile"
)

// meta returns the metadata of a file.
func (j *job) meta(t *target) wavfile.Meta {
	it := j.item
	what := fmt.Sprintf("desk input %d %s", t.outs[0].DeskInput, t.outs[0].Channel)
	if trim := t.outs[0].TrimDB; trim != 0 {
		what += fmt.Sprintf(", trim %+.1f dB", trim)
	}
	if j.poly {
		what = fmt.Sprintf("%d desk inputs", len(t.outs))
	}
	x := &wavfile.Bext{
		Description: fmt.Sprintf("%s, %s, rig %s, %s", it.Song, it.Show, it.Rig, what),
		Originator:  wavfile.OwnOriginator, OriginatorReference: hex.EncodeToString(t.print[:]),
	}
	j.date(x)
	ixml := &wavfile.IXML{Scene: it.Song, Tape: string(it.Show)}
	for i, o := range t.outs {
		name := o.Channel
		if o.Status != catalog.Playback {
			name += " (" + string(o.Status) + ")"
		}
		ixml.Tracks = append(ixml.Tracks, wavfile.IXMLTrack{ChannelIndex: o.DeskInput, InterleaveIndex: i + 1, Name: name})
	}
	length := it.EndFrame - it.StartFrame
	return wavfile.Meta{Bext: x, IXML: ixml, Cues: []wavfile.Cue{
		{ID: 1, Frame: j.pre, Length: length, Label: it.Song},
		{ID: 2, Frame: j.pre + length, Label: "end"},
	}}
}

// date sets the time reference to the file's first frame. It counts from the
// segment at or before that frame, or else from the recording's start. If the
// source has no time, the fields stay empty.
func (j *job) date(x *wavfile.Bext) {
	day := int64(24 * 60 * 60 * j.rec.SampleRate)
	var midnight time.Time
	var reference int64 // frames from midnight to frame 0 of the recording
	found := false
	best := int64(-1)
	for _, f := range j.files {
		info := j.reader.Info(f)
		if info == nil || f.StartFrame > max(j.from, 0) || f.StartFrame <= best {
			continue
		}
		b := info.Meta.Bext
		at, ok := b.StartTime(j.rec.SampleRate)
		if b == nil || !ok {
			continue
		}
		best, found = f.StartFrame, true
		midnight = at.Truncate(24 * time.Hour)
		reference = int64(b.TimeReference)%day - f.StartFrame
		if b.TimeReference == 0 {
			reference = j.rec.Frame(at.Sub(midnight).Seconds()) - f.StartFrame
		}
	}
	if at := j.rec.StartsAt; !found && at != nil {
		found = true
		midnight = time.Date(at.Year(), at.Month(), at.Day(), 0, 0, 0, 0, time.UTC)
		h, m, s := at.Clock()
		reference = j.rec.Frame(float64(h*3600+m*60+s) + float64(at.Nanosecond())/1e9)
	}
	if !found {
		return
	}
	reference += j.from
	for reference < 0 {
		reference, midnight = reference+day, midnight.AddDate(0, 0, -1)
	}
	for reference >= day {
		reference, midnight = reference-day, midnight.AddDate(0, 0, 1)
	}
	x.TimeReference = uint64(reference)
	x.OriginationDate = midnight.Format(time.DateOnly)
	x.OriginationTime = midnight.Add(time.Duration(j.rec.Seconds(reference) * float64(time.Second))).Format(time.TimeOnly)
}
