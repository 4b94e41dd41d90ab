package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"nightreel/internal/demo"
	"nightreel/internal/wavfile"
)

const (
	rate      = 48000
	sampleLen = 3 // bytes: 24 bit
)

// material is the source of the recordings: the sixteen tracks of a night of the
// demo tour, 24 bit.
type material [][]byte

// makeMaterial makes the demo tour in dir, unless it exists, and reads its first
// night.
func makeMaterial(ctx context.Context, dir string) (material, error) {
	if _, err := os.Stat(dir); err != nil {
		if _, err := demo.Make(ctx, dir, demo.Options{}); err != nil {
			return nil, err
		}
	}
	var m material
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || filepath.Ext(path) != ".wav" {
			return err
		}
		f, err := wavfile.Open(path)
		if err != nil {
			return nil // the tour also has damaged files
		}
		defer f.Close()
		fm := f.Info().Format
		if fm.Channels != 1 || fm.SampleRate != rate || fm.ContainerBytes != sampleLen {
			return nil
		}
		b := make([]byte, f.Info().Frames*sampleLen)
		if _, err := f.ReadFrames(b, 0); err != nil {
			return err
		}
		m = append(m, b)
		return nil
	})
	if err == nil && len(m) == 0 {
		err = fmt.Errorf("%s: no 24-bit mono files in the demo tour", dir)
	}
	return m, err
}

// writeNight runs the command "write DEMO DIR CHANNELS SECONDS mono|poly" of
// this program. DEMO is the folder of the demo tour, made if it is missing. It
// runs in a process of its own, because the memory of a process counts as that
// of its children.
func writeNight(args []string) error {
	if len(args) != 5 {
		return fmt.Errorf("write takes DEMO DIR CHANNELS SECONDS mono|poly")
	}
	channels, err := strconv.Atoi(args[2])
	if err != nil {
		return err
	}
	seconds, err := strconv.Atoi(args[3])
	if err != nil {
		return err
	}
	m, err := makeMaterial(context.Background(), args[0])
	if err != nil {
		return err
	}
	return m.write(args[1], channels, seconds, args[4] == "poly")
}

// night writes a recording and returns its files.
func (b *bench) night(ctx context.Context, dir string, channels, seconds int, layout string) ([]string, error) {
	fmt.Printf("writing %d channels, %d s, 24 bit, 48 kHz, %s\n", channels, seconds, layout)
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	if _, err := measure(ctx, self, "write", b.path("demo"), dir, strconv.Itoa(channels), strconv.Itoa(seconds), layout); err != nil {
		return nil, err
	}
	return filepath.Glob(filepath.Join(dir, "*.wav"))
}

// track fills b with a channel's samples from a frame on: a track of the demo,
// repeated, from a different offset for each further channel.
func (m material) track(b []byte, channel int, frame int64) {
	src := m[channel%len(m)]
	at := int((frame + int64(channel/len(m))*7*rate) * sampleLen % int64(len(src)))
	for len(b) > 0 {
		n := copy(b, src[at:])
		b, at = b[n:], 0
	}
}

// write writes a recording of the given number of seconds.
func (m material) write(dir string, channels, seconds int, poly bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	create := func(name string, channels int) (*wavfile.Writer, error) {
		return wavfile.Create(filepath.Join(dir, name), wavfile.Format{
			SampleRate: rate, Channels: channels, BitDepth: 8 * sampleLen, ContainerBytes: sampleLen, Encoding: wavfile.PCM,
		}, wavfile.Meta{})
	}
	one := make([]byte, rate*sampleLen)
	if poly {
		w, err := create("night.wav", channels)
		if err != nil {
			return err
		}
		frame := channels * sampleLen
		all := make([]byte, rate*frame)
		for s := range seconds {
			for c := range channels {
				m.track(one, c, int64(s)*rate)
				for i := range rate {
					copy(all[i*frame+c*sampleLen:], one[i*sampleLen:(i+1)*sampleLen])
				}
			}
			if err := w.WriteFrames(all); err != nil {
				return err
			}
		}
		return w.Close()
	}
	for c := range channels {
		w, err := create(fmt.Sprintf("%03d Input.wav", c+1), 1)
		if err != nil {
			return err
		}
		for s := range seconds {
			m.track(one, c, int64(s)*rate)
			if err := w.WriteFrames(one); err != nil {
				return err
			}
		}
		if err := w.Close(); err != nil {
			return err
		}
	}
	return nil
}
