package evaluate

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gitlab.com/gomidi/midi/v2/smf"
)

// song is a General MIDI song as read from its file.
type song struct {
	title    string
	notes    []note
	controls []control
	bars     []float64 // s, the beginning of each bar, and the end of the last one
}

type note struct {
	at, dur           float64 // s
	channel, key, vel uint8
}

// control is any other message of a channel: program, controller, bend.
type control struct {
	at      float64 // s
	channel uint8
	msg     []byte
}

const (
	drumChannel = 9   // General MIDI's channel 10
	leastSongS  = 60  // shorter ones are stings, not songs
	mostSongS   = 210 // longer ones are cut at a bar
)

// The files that the songs are read from, as Debian installs them.
var (
	tuningSongs = "/usr/share/games/openttd/baseset/openmsx/*.mid" // openttd-openmsx
	heldSongs   = "/usr/share/games/doom/freedoom*.wad"            // freedoom
)

// songsOf reads the songs of a half, in order of title, each once.
func songsOf(half Half) ([]song, error) {
	files := map[string][]byte{}
	pattern, need := tuningSongs, "openttd-openmsx"
	if half == Held {
		pattern, need = heldSongs, "freedoom"
	}
	paths, _ := filepath.Glob(pattern)
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		if half == Tuning {
			files[strings.TrimSuffix(filepath.Base(path), ".mid")] = data
			continue
		}
		for name, lump := range lumps(data) {
			files[strings.TrimSuffix(filepath.Base(path), ".wad")+" "+name] = lump
		}
	}
	var all []song
	seen := map[string]bool{}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		s, err := readSong(name, files[name])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if key := s.fingerprint(); s.length() >= leastSongS && !seen[key] {
			seen[key] = true
			all = append(all, s)
		}
	}
	if len(all) < 15 {
		return nil, fmt.Errorf("%d songs in %s, 15 are needed: install Debian's package %s", len(all), pattern, need)
	}
	return all, nil
}

// lumps returns the MIDI files in a WAD: a header of its type, the number of
// lumps and the directory's offset, and 16 bytes a lump: offset, size, name.
func lumps(wad []byte) map[string][]byte {
	found := map[string][]byte{}
	if len(wad) < 12 {
		return found
	}
	n, dir := binary.LittleEndian.Uint32(wad[4:]), binary.LittleEndian.Uint32(wad[8:])
	for i := range uint64(n) {
		at := uint64(dir) + 16*i
		if at+16 > uint64(len(wad)) {
			break
		}
		e := wad[at:]
		from, size := uint64(binary.LittleEndian.Uint32(e)), uint64(binary.LittleEndian.Uint32(e[4:]))
		if from+size <= uint64(len(wad)) && bytes.HasPrefix(wad[from:from+size], []byte("MThd")) {
			found[strings.TrimRight(string(e[8:16]), "\x00")] = wad[from : from+size]
		}
	}
	return found
}

func readSong(title string, data []byte) (song, error) {
	file, err := smf.ReadFrom(bytes.NewReader(data))
	if err != nil {
		return song{}, err
	}
	ticks, ok := file.TimeFormat.(smf.MetricTicks)
	if !ok {
		return song{}, fmt.Errorf("its time is not in ticks of a quarter note")
	}
	s := song{title: title}
	seconds := func(tick int64) float64 { return float64(file.TimeAt(tick)) / 1e6 }
	type key struct{ channel, key uint8 }
	last := int64(0)
	beats, unit := uint8(4), uint8(4)
	for _, track := range file.Tracks {
		at := int64(0)
		open := map[key]note{}
		for _, ev := range track {
			at += int64(ev.Delta)
			var channel, k, vel, num, denom uint8
			m := ev.Message
			switch {
			case m.GetNoteStart(&channel, &k, &vel):
				open[key{channel, k}] = note{at: seconds(at), channel: channel, key: k, vel: vel}
				last = max(last, at)
			case m.GetNoteEnd(&channel, &k):
				if n, ok := open[key{channel, k}]; ok {
					n.dur = seconds(at) - n.at
					s.notes = append(s.notes, n)
					delete(open, key{channel, k})
					last = max(last, at)
				}
			case m.GetMetaMeter(&num, &denom) && len(s.notes) == 0:
				beats, unit = max(num, 1), max(denom, 1)
			case m.GetChannel(&channel) && plain(m.Bytes()):
				s.controls = append(s.controls, control{at: seconds(at), channel: channel, msg: slices.Clone(m.Bytes())})
			}
		}
	}
	if len(s.notes) == 0 {
		return s, nil
	}
	slices.SortStableFunc(s.notes, func(a, b note) int { return cmp.Compare(a.at, b.at) })
	slices.SortStableFunc(s.controls, func(a, b control) int { return cmp.Compare(a.at, b.at) })
	bar := int64(ticks.Ticks4th()) * 4 * int64(beats) / int64(unit)
	for at := int64(0); ; at += bar {
		s.bars = append(s.bars, seconds(at))
		if at >= last || seconds(at) >= s.notes[0].at+mostSongS {
			break
		}
	}
	first := 0 // drop bars of rest before the first note
	for first+1 < len(s.bars) && s.bars[first+1] <= s.notes[0].at {
		first++
	}
	s.bars = s.bars[first:]
	return s, nil
}

// plain reports whether a message is a program, a bend, a channel's volume, pan
// or expression. Others are irrelevant to the song.
func plain(msg []byte) bool {
	switch msg[0] & 0xf0 {
	case 0xc0, 0xe0:
		return true
	case 0xb0:
		return msg[1] == 7 || msg[1] == 10 || msg[1] == 11
	}
	return false
}

func (s song) length() float64 {
	if len(s.bars) == 0 {
		return 0
	}
	return s.bars[len(s.bars)-1] - s.bars[0]
}

// fingerprint is the same for two files that begin with the same notes.
func (s song) fingerprint() string {
	var b strings.Builder
	for _, n := range s.notes[:min(len(s.notes), 200)] {
		fmt.Fprint(&b, n.key, math.Round(10*(n.at-s.notes[0].at)), " ")
	}
	return b.String()
}
