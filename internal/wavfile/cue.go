package wavfile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"slices"

	"github.com/go-audio/riff"
	"github.com/go-audio/wav"
)

const (
	cueBytes = 24 // of one point in a cue chunk
	maxCues  = maxCueChunk / cueBytes
)

// cueSheet collects the cue chunk and the adtl lists of a file, in whatever
// order they come.
type cueSheet struct {
	points  []Cue
	entries int // of all adtl lists, bounded by maxCues each of labl, note, ltxt
	labels  map[uint32]string
	notes   map[uint32]string
	regions map[uint32]region
}

type region struct {
	length int64
	text   string
}

// parseCue reads the points with go-audio's decoder, which is safe here because
// the chunk is bounded and complete in memory.
func (c *cueSheet) parseCue(b []byte) error {
	d := &wav.Decoder{}
	err := wav.DecodeCueChunk(d, &riff.Chunk{ID: wav.CIDCue, Size: len(b), R: bytes.NewReader(b)})
	if d.Metadata != nil {
		for _, p := range d.Metadata.CuePoints {
			if len(c.points) == maxCues {
				return fmt.Errorf("%w: more than %d points", errChunk, maxCues)
			}
			// SampleOffset is the frame; some writers fill in Position alone.
			frame := p.SampleOffset
			if frame == 0 {
				frame = p.Position
			}
			c.points = append(c.points, Cue{ID: binary.LittleEndian.Uint32(p.ID[:]), Frame: int64(frame)})
		}
	}
	if err != nil {
		return fmt.Errorf("%w: cut short after %d points", errChunk, len(c.points))
	}
	return nil
}

// parseAdtl reads the entries of an associated data list. go-audio's list
// decoder passes this kind over.
func (c *cueSheet) parseAdtl(b []byte) error {
	if c.labels == nil {
		c.labels, c.notes, c.regions = map[uint32]string{}, map[uint32]string{}, map[uint32]region{}
	}
	return subchunks(b, func(id string, b []byte) {
		if len(b) < 4 || c.entries == 3*maxCues {
			return
		}
		c.entries++
		cue := binary.LittleEndian.Uint32(b)
		switch id {
		case "labl":
			keepFirst(c.labels, cue, text(b[4:]))
		case "note":
			keepFirst(c.notes, cue, text(b[4:]))
		case "ltxt":
			if len(b) >= 20 {
				keepFirst(c.regions, cue, region{int64(binary.LittleEndian.Uint32(b[4:])), text(b[20:])})
			}
		}
	})
}

func keepFirst[K, V comparable](m map[K]V, k K, v V) {
	if _, there := m[k]; !there {
		m[k] = v
	}
}

// cues joins points and labels, ordered by frame.
func (c *cueSheet) cues() []Cue {
	for i := range c.points {
		p := &c.points[i]
		r := c.regions[p.ID]
		p.Length = r.length
		for _, s := range []string{c.labels[p.ID], c.notes[p.ID], r.text} {
			if s != "" {
				p.Label = s
				break
			}
		}
	}
	slices.SortStableFunc(c.points, func(a, b Cue) int { return int(a.Frame - b.Frame) })
	return c.points
}

// appendCues appends the cue chunk and, where there are labels or ranges, the
// adtl list. Ids that are missing (0) or not unique are replaced by 1, 2, 3….
func appendCues(b []byte, cues []Cue) ([]byte, error) {
	if len(cues) > maxCues {
		return nil, fmt.Errorf("%d cues, %d are possible", len(cues), maxCues)
	}
	le := binary.LittleEndian
	cues = withIDs(cues)
	points := le.AppendUint32(nil, uint32(len(cues)))
	list := []byte("adtl")
	for _, c := range cues {
		if c.Frame < 0 || c.Frame > math.MaxUint32 || c.Length < 0 || c.Length > math.MaxUint32 {
			return nil, fmt.Errorf("cue at frame %d, %d frames long: a cue chunk counts to 2^32", c.Frame, c.Length)
		}
		points = le.AppendUint32(points, c.ID)
		points = le.AppendUint32(points, uint32(c.Frame))
		points = append(points, "data\x00\x00\x00\x00\x00\x00\x00\x00"...)
		points = le.AppendUint32(points, uint32(c.Frame))
		if c.Label != "" {
			list = appendChunk(list, "labl", appendText(le.AppendUint32(nil, c.ID), c.Label))
		}
		if c.Length > 0 {
			e := le.AppendUint32(le.AppendUint32(nil, c.ID), uint32(c.Length))
			list = appendChunk(list, "ltxt", append(e, "rgn \x00\x00\x00\x00\x00\x00\x00\x00"...))
		}
	}
	if len(list) > maxTextChunk {
		return nil, fmt.Errorf("cue labels of %d bytes, %d are possible", len(list), maxTextChunk)
	}
	b = appendChunk(b, "cue ", points)
	if len(list) > 4 {
		b = appendChunk(b, "LIST", list)
	}
	return b, nil
}

// withIDs returns the cues with usable ids.
func withIDs(cues []Cue) []Cue {
	seen := map[uint32]bool{0: true}
	for _, c := range cues {
		if seen[c.ID] {
			cues = slices.Clone(cues)
			for i := range cues {
				cues[i].ID = uint32(i + 1)
			}
			return cues
		}
		seen[c.ID] = true
	}
	return cues
}
