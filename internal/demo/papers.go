package demo

import (
	"encoding/binary"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path"
	"strconv"
	"strings"
	"time"

	"nightreel/internal/wavfile"
)

// papers writes the files beside the recordings: input lists, set lists, desk
// files, and stray files.
func (m *maker) papers(shows []showPlan) error {
	first, second, third := shows[0], shows[1], shows[2]
	m.truth.InputLists = []InputList{
		{File: "inputs.csv", From: first.date(), Inputs: inputs(first)},
		{File: "inputs-" + second.date() + ".csv", From: second.date(), Only: true, Inputs: changed(second)},
		{File: "inputs-" + third.date() + ".csv", From: third.date(), Inputs: inputs(third)},
	}
	for i, l := range m.truth.InputLists {
		write := inputsCSV
		if i == 2 {
			write = inputsSpreadsheet
		}
		text, err := write(l.Inputs)
		if err != nil {
			return err
		}
		if err := m.paper(l.File, text, shows[0].starts.Add(-6*time.Hour)); err != nil {
			return err
		}
	}
	m.truth.Desks = desks(third)
	for _, d := range m.truth.Desks {
		rows := [][]string{{"desk input", "channel", "gain tonight"}}
		for _, in := range d.Inputs {
			rows = append(rows, []string{strconv.Itoa(in.Input), in.Channel, gainText(in.GainDB)})
		}
		text, err := table(rows, ',')
		if err != nil {
			return err
		}
		if err := m.paper(d.File, text, shows[3].starts.Add(16*time.Hour)); err != nil {
			return err
		}
	}
	for i, sh := range shows {
		if err := m.setList(sh, &m.truth.Shows[i]); err != nil {
			return err
		}
	}
	return m.strays(first, third)
}

// paper writes a text and sets its time.
func (m *maker) paper(name, text string, t time.Time) error {
	if err := put(m.path(name), []byte(text)); err != nil {
		return err
	}
	return m.stamp(name, t)
}

// inputs returns a night's complete input list.
func inputs(sh showPlan) []Input {
	var list []Input
	for i, ch := range sh.patch {
		c := channels()[ch]
		list = append(list, Input{Track: i + 1, Channel: c.name, GainDB: sh.gain(ch), Group: c.group, Notes: c.notes})
	}
	return list
}

// changed returns the rows of a night whose gain differs from the first night's.
func changed(sh showPlan) []Input {
	var list []Input
	for i, in := range inputs(sh) {
		if _, ok := sh.gains[sh.patch[i]]; ok {
			list = append(list, in)
		}
	}
	return list
}

func gainText(dB float64) string { return strconv.FormatFloat(dB, 'f', -1, 64) }

func inputsCSV(list []Input) (string, error) {
	rows := [][]string{{"track", "channel", "gain", "group", "notes"}}
	for _, in := range list {
		rows = append(rows, []string{strconv.Itoa(in.Track), in.Channel, gainText(in.GainDB), in.Group, in.Notes})
	}
	return table(rows, ',')
}

// inputsSpreadsheet is an input list in another form: semicolons, a byte-order
// mark, CRLF, and the columns in another order.
func inputsSpreadsheet(list []Input) (string, error) {
	rows := [][]string{{"Channel", "Track", "Group", "Gain", "Notes"}}
	for _, in := range list {
		rows = append(rows, []string{in.Channel, strconv.Itoa(in.Track), in.Group, gainText(in.GainDB), in.Notes})
	}
	text, err := table(rows, ';')
	return "\ufeff" + strings.ReplaceAll(text, "\n", "\r\n"), err
}

func table(rows [][]string, comma rune) (string, error) {
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Comma = comma
	if err := w.WriteAll(rows); err != nil {
		return "", err
	}
	return b.String(), nil
}

// desks returns tonight's desks. The front-of-house desk has an order of its
// own, some changed gains, and one new microphone that no night has recorded;
// the broadcast desk takes fewer inputs.
func desks(sh showPlan) []Desk {
	foh := Desk{Name: "foh", File: "desk-foh.csv"}
	tonight := map[int]float64{kickIn: 23, bassDI: 9, leadVocal: 36, guitarL: 26}
	gain := func(ch int) float64 {
		if g, ok := tonight[ch]; ok {
			return g
		}
		return sh.gain(ch)
	}
	for i, ch := range []int{kickIn, snareTop, snareBottom, hat, floorTom, overheadL, overheadR, bassDI,
		guitarL, guitarR, keysDI, leadVocal, vocal2, guestVocal, audienceL, audienceR} {
		foh.Inputs = append(foh.Inputs, DeskInput{Input: i + 1, Channel: channels()[ch].name, GainDB: gain(ch)})
	}
	foh.Inputs = append(foh.Inputs, DeskInput{Input: 17, Channel: "Kick Out", GainDB: 24})
	broadcast := Desk{Name: "broadcast", File: "desk-broadcast.csv"}
	for i, ch := range []int{audienceL, audienceR, leadVocal, vocal2, guestVocal, kickIn, snareTop, overheadL,
		overheadR, bassDI, guitarL, guitarR, keysDI} {
		broadcast.Inputs = append(broadcast.Inputs, DeskInput{Input: 33 + i, Channel: channels()[ch].name, GainDB: gain(ch)})
	}
	return []Desk{foh, broadcast}
}

// setList writes a show's set list, as played.
func (m *maker) setList(sh showPlan, show *Show) error {
	var text string
	var err error
	if sh.setList == "csv" {
		rows := [][]string{{"title", "start", "end"}}
		for _, t := range m.truth.Takes {
			if t.Show == show.Date {
				rows = append(rows, []string{t.Song, clock(t.StartS), clock(t.EndS)})
			}
		}
		text, err = table(rows, ',')
	} else {
		for _, t := range m.truth.Takes {
			if t.Show == show.Date {
				text += t.Song + "\n"
			}
		}
	}
	if err != nil {
		return err
	}
	show.SetList = path.Join(sh.folder, "setlist."+sh.setList)
	return m.paper(show.SetList, text, sh.starts.Add(-2*time.Hour))
}

// clock returns seconds as mm:ss.
func clock(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%02d:%02d", n/60, n%60)
}

// strays writes files that are no recordings of the night.
func (m *maker) strays(first, third showPlan) error {
	// AppleDouble (RFC 1740): magic, version, filler, no entries.
	companion := make([]byte, 4096)
	binary.BigEndian.PutUint32(companion, 0x00051607)
	binary.BigEndian.PutUint32(companion[4:], 0x00020000)
	for _, f := range []struct{ name, text string }{
		{path.Join(first.folder, "._01 Kick In.wav"), string(companion)},
		{path.Join(first.folder, "17 Talkback.wav"), ""},
		{path.Join(third.folder, "notes.txt"), "spare batteries, gaffer, ask about the hum in dressing room 2\n"},
	} {
		if err := m.paper(f.name, f.text, first.starts); err != nil {
			return err
		}
		m.truth.PassedOver = append(m.truth.PassedOver, f.name)
	}
	// A deleted recording that is still on the drive.
	name := path.Join(third.folder, ".trash", "01 Kick In.wav")
	if err := os.MkdirAll(m.path(path.Dir(name)), 0o777); err != nil {
		return err
	}
	f := wavfile.Format{SampleRate: 48000, Channels: 1, BitDepth: 24, ContainerBytes: 3}
	w, err := wavfile.Create(m.path(name), f, wavfile.Meta{})
	if err != nil {
		return err
	}
	defer w.Abort()
	if err := w.WriteFrames(make([]byte, 4800*f.FrameBytes())); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	m.truth.PassedOver = append(m.truth.PassedOver, name)
	return m.stamp(name, third.starts)
}
