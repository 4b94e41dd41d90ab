package lists

import (
	"io"
	"sort"
	"strconv"

	"nightreel/catalog"
	"nightreel/internal/csvfile"
)

const (
	inputTrack = iota
	inputChannel
	inputGain
	inputGroup
	inputNotes
)

func inputRoles() []role {
	return []role{
		inputTrack:   {"track number", []string{"track", "trk", "tr", "tracknumber", "trackno", "ch", "chno", "channelnumber", "channelno", "no", "nr", "number", "#", "input", "channel"}, true},
		inputChannel: {"channel", []string{"channel", "channelname", "name", "inputname", "input", "source", "instrument"}, true},
		inputGain:    {"gain", []string{"gain", "gaindb", "preamp", "preampgain", "preampgaindb", "preampdb"}, false},
		inputGroup:   {"group", []string{"group", "grp", "section"}, false},
		inputNotes:   {"notes", []string{"notes", "note", "comment", "comments", "remarks"}, false},
	}
}

// ReadInputs reads an input list from CSV: track number and channel, and
// optionally preamp gain in dB, group and notes. A line with a track number and
// no channel is an unused track, and is skipped. The inputs are in order of
// track. name is used in errors, which are *Error, for example for a track or
// channel that is listed twice.
func ReadInputs(r io.Reader, name string) ([]catalog.Input, error) {
	text, err := readText(r, name)
	if err != nil {
		return nil, err
	}
	t, err := readTable(text, name, inputRoles())
	if err != nil {
		return nil, err
	}
	inputs := []catalog.Input{}
	tracks, channels := seen{}, seen{}
	for _, row := range t.rows {
		in := catalog.Input{Channel: t.cell(row, inputChannel), Group: t.cell(row, inputGroup), Notes: t.cell(row, inputNotes)}
		if in.Track, err = t.number(row, inputTrack, "track number"); err != nil {
			return nil, err
		}
		if in.GainDB, err = t.gain(row, inputGain); err != nil {
			return nil, err
		}
		if in.Channel == "" {
			if in.GainDB != nil {
				return nil, t.fail(row, inputChannel, "the channel is missing", "enter the track's channel, or delete its gain")
			}
			continue
		}
		if first := tracks.again(strconv.Itoa(in.Track), row.line); first > 0 {
			return nil, t.twice(row, inputTrack, "track", first, "each track holds one channel; correct one of the lines")
		}
		if first := channels.again(catalog.Key(in.Channel), row.line); first > 0 {
			return nil, t.twice(row, inputChannel, "channel", first, "each channel needs a name of its own, beyond case and punctuation: Vocal L and Vocal R")
		}
		inputs = append(inputs, in)
	}
	sort.Slice(inputs, func(i, j int) bool { return inputs[i].Track < inputs[j].Track })
	return inputs, nil
}

// WriteInputs writes an input list as CSV that [ReadInputs] reads back.
func WriteInputs(w io.Writer, inputs []catalog.Input) error {
	rows := [][]string{{"track", "channel", "gain", "group", "notes"}}
	for _, in := range inputs {
		rows = append(rows, []string{strconv.Itoa(in.Track), in.Channel, gainText(in.GainDB), in.Group, in.Notes})
	}
	return csvfile.NewWriter(w).WriteAll(rows)
}

// gainText formats a gain, "" if it is unknown.
func gainText(g *float64) string {
	if g == nil {
		return ""
	}
	return strconv.FormatFloat(*g, 'f', -1, 64)
}
