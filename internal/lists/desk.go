package lists

import (
	"fmt"
	"io"
	"sort"
	"strconv"

	"nightreel/catalog"
	"nightreel/internal/csvfile"
)

const (
	deskInput = iota
	deskChannel
	deskGain
	deskOutput
)

func deskRoles() []role {
	return []role{
		deskInput:   {"desk input", []string{"deskinput", "deskin", "deskchannel", "deskch", "input", "in", "inputnumber", "inputno", "ch", "chno", "channelnumber", "channelno", "no", "nr", "number", "#", "channel"}, true},
		deskChannel: {"channel", []string{"channel", "channelname", "name", "inputname", "source", "instrument", "input"}, true},
		deskGain:    {"gain tonight", []string{"gaintonight", "gaintonightdb", "tonight", "gain", "gaindb", "preamp", "preampgain", "preampgaindb", "preampdb"}, false},
		deskOutput:  {"playback output", []string{"output", "out", "playbackoutput", "playback", "outputnumber", "outputno"}, false},
	}
}

// ReadDesk reads a desk's patch from CSV: desk input and channel, and optionally
// tonight's preamp gain in dB and the playback output that feeds the input.
// Output is 0 if the list has none, which means the output of the input's own
// number. A line without a channel is an unused input, and is skipped. One
// channel may come in at several inputs; an output that would feed two channels
// is an error. The inputs are in order of number. name is used in errors, which
// are *Error.
func ReadDesk(r io.Reader, name string) ([]catalog.DeskInput, error) {
	text, err := readText(r, name)
	if err != nil {
		return nil, err
	}
	t, err := readTable(text, name, deskRoles())
	if err != nil {
		return nil, err
	}
	type feed struct {
		channel string
		line    int
	}
	patch := []catalog.DeskInput{}
	inputs, feeds := seen{}, map[int]feed{}
	for _, row := range t.rows {
		in := catalog.DeskInput{Channel: t.cell(row, deskChannel)}
		if in.Input, err = t.number(row, deskInput, "desk input"); err != nil {
			return nil, err
		}
		if in.GainDB, err = t.gain(row, deskGain); err != nil {
			return nil, err
		}
		if t.cell(row, deskOutput) != "" {
			if in.Output, err = t.number(row, deskOutput, "playback output"); err != nil {
				return nil, err
			}
		}
		if in.Channel == "" {
			if in.GainDB != nil || in.Output != 0 {
				return nil, t.fail(row, deskChannel, "the channel is missing", "enter the channel of this input, or delete the line")
			}
			continue
		}
		if first := inputs.again(strconv.Itoa(in.Input), row.line); first > 0 {
			return nil, t.twice(row, deskInput, "desk input", first, "each desk input takes one channel; correct one of the lines")
		}
		out := in.Output
		if out == 0 {
			out = in.Input
		}
		if f, ok := feeds[out]; ok && !catalog.SameName(f.channel, in.Channel) {
			return nil, t.fail(row, deskOutput, fmt.Sprintf("playback output %d would feed %s, and in line %d %s", out, in.Channel, f.line, f.channel),
				"an input without an output of its own takes the output of its own number; give one of the two another")
		}
		feeds[out] = feed{in.Channel, row.line}
		patch = append(patch, in)
	}
	sort.Slice(patch, func(i, j int) bool { return patch[i].Input < patch[j].Input })
	return patch, nil
}

// WriteDesk writes a desk's patch as CSV that [ReadDesk] reads back.
func WriteDesk(w io.Writer, inputs []catalog.DeskInput) error {
	rows := [][]string{{"desk input", "channel", "gain tonight", "output"}}
	for _, in := range inputs {
		output := ""
		if in.Output != 0 {
			output = strconv.Itoa(in.Output)
		}
		rows = append(rows, []string{strconv.Itoa(in.Input), in.Channel, gainText(in.GainDB), output})
	}
	return csvfile.NewWriter(w).WriteAll(rows)
}
