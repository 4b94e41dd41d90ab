// Package wavfile reads and writes the WAV files that recorders leave behind.
//
// Start with [Open] to read a file and [Create] to write one. Reading covers
// RIFF/WAVE, RF64 and BW64, files whose header was never finished, and the
// metadata chunks bext, iXML, cue, adtl and INFO. A file that is damaged is
// read as far as it goes, and [Info.Repairs] says what was wrong and where.
//
// What is written appears under its name complete, or not at all. Names that
// begin with a dot are files still being written.
//
// The package never changes a file it reads, and never reads audio to find its
// way: what the header claims is believed as far as the length of the file
// bears it out.
//
// Formats: Microsoft's RIFF/WAVE and WAVEFORMATEXTENSIBLE; EBU Tech 3285 v2
// (bext); EBU Tech 3306 (RF64); ITU-R BS.2088 (BW64); the open iXML
// specification, version 3. The layouts of the EBU and ITU chunks are those in
// which open implementations agree; the documents themselves were not at hand.
package wavfile

import (
	"fmt"
	"time"
)

// Encoding tells how a sample is coded.
type Encoding uint8

const (
	// PCM is linear integer PCM: unsigned for 8 bit, two's complement above.
	PCM Encoding = iota
	// Float is IEEE 754 floating point, nominal range ±1.
	Float
)

// String returns "pcm" or "float".
func (e Encoding) String() string {
	if e == Float {
		return "float"
	}
	return "pcm"
}

// Container tells which 32- or 64-bit form of the RIFF file was found.
type Container uint8

// The containers that are read. RIFF and RF64 are written.
const (
	RIFF Container = iota
	RF64
	BW64
)

// Format describes the samples of a file. A frame is one sample of every
// channel, interleaved.
type Format struct {
	SampleRate     int      // Hz
	Channels       int      // channels in the file, 1 to 256
	BitDepth       int      // valid bits of a sample: 8, 16, 24, 32 or 64
	ContainerBytes int      // bytes a sample occupies in the file: 1, 2, 3, 4 or 8
	Encoding       Encoding // PCM or Float
}

// String returns the format in words.
func (f Format) String() string {
	channels := "1 channel"
	if f.Channels != 1 {
		channels = fmt.Sprintf("%d channels", f.Channels)
	}
	return fmt.Sprintf("%s of %d bit %s in %d bytes at %d Hz", channels, f.BitDepth, f.Encoding, f.ContainerBytes, f.SampleRate)
}

// FrameBytes returns the bytes of one frame in the file.
func (f Format) FrameBytes() int { return f.Channels * f.ContainerBytes }

// Silence makes dst digital silence: zeros, and the middle of the range for
// 8-bit PCM, which is unsigned.
func (f Format) Silence(dst []byte) {
	zero := byte(0)
	if f.ContainerBytes == 1 {
		zero = 0x80
	}
	for i := range dst {
		dst[i] = zero
	}
}

// Info is what the header and the metadata chunks of a file say, corrected by
// what is really there.
type Info struct {
	Container  Container
	Format     Format
	DataOffset int64 // byte offset of the first sample
	Frames     int64 // whole frames that can be read
	FileBytes  int64 // length of the file when it was parsed

	Unfinished bool     // the header was never finished, or does not cover what is there
	Repairs    []Repair // what was wrong, in file order

	Meta Meta
}

// Repair is one thing that was wrong with a file and was read around.
type Repair struct {
	Offset  int64  // byte offset in the file
	Problem string // what was wrong and what was assumed, lower case, no full stop
}

// Meta is the metadata of a file. Zero values mean "not there". It is what a
// parsed file holds and what a [Writer] writes.
type Meta struct {
	Bext *Bext
	IXML *IXML
	Cues []Cue
	// Tags are the LIST INFO entries by their four-letter id, for example
	// "INAM".
	Tags map[string]string
}

// OwnOriginator is the bext originator of the files that this program renders or
// plays into. No recorder writes it, so such a file is never taken for a recording.
const OwnOriginator = "nightreel"

// Bext is the broadcast extension chunk (EBU Tech 3285 v2).
type Bext struct {
	Description         string
	Originator          string
	OriginatorReference string
	OriginationDate     string // yyyy-mm-dd, as found
	OriginationTime     string // hh:mm:ss, as found
	TimeReference       uint64 // frames from midnight to the first frame
	Version             uint16
	UMID                [64]byte
	// Loudness is nil before version 2, and for values marked unused.
	Loudness      *BextLoudness
	CodingHistory string
}

// BextLoudness holds the loudness fields of a version 2 bext chunk. A field
// that was marked unused is NaN.
type BextLoudness struct {
	LoudnessLUFS     float64
	RangeLU          float64
	MaxTruePeakDBTP  float64
	MaxMomentaryLUFS float64
	MaxShortTermLUFS float64
}

// StartTime returns the wall-clock time of the first frame: the date of
// origination with the time reference at the given rate (Hz), or with the time
// of origination where the reference is zero. ok is false where the chunk has
// no usable date. The location is UTC for want of a better one.
func (b *Bext) StartTime(rate int) (t time.Time, ok bool) { return startTime(b, rate) }

// IXML is the part of an iXML chunk that this house uses. Raw keeps the whole
// text, unknown elements included.
type IXML struct {
	Project, Scene, Tape, Take, Note string
	Tracks                           []IXMLTrack
	Raw                              string
}

// IXMLTrack is one TRACK of an iXML track list.
type IXMLTrack struct {
	ChannelIndex    int // the recorder's input number; 0 = not given
	InterleaveIndex int // 1-based position in the file; 0 = not given
	Name            string
	Function        string
}

// Cue is one cue point with its label, or a labelled range.
type Cue struct {
	ID     uint32
	Frame  int64  // frame in this file
	Length int64  // frames; 0 for a point
	Label  string // from labl, else from note or ltxt
}
