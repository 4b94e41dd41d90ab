package wavfile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"slices"
)

// What a header may make us do. A file can claim anything; these bounds and
// the length of the file are all that is believed.
const (
	maxChunks    = 1 << 18 // headers of 8 bytes: 2 MiB and some 50 ms
	maxRepairs   = 100
	maxTextChunk = 256 << 10 // bytes of a bext, iXML or LIST chunk: 1 KiB for each of 256 tracks
	maxCueChunk  = 256 << 10 // bytes of a cue chunk: 10,922 points
	maxMetaBytes = 1 << 20   // bytes of all metadata chunks of a file
	maxDS64Table = 64
)

// noSize is the 32-bit size that means "not known" or "look in ds64".
const noSize = 0xFFFFFFFF

// Parse walks the chunks of a WAV file of size bytes and returns what they
// say, corrected by what is there. It reads headers and metadata, never the
// audio, and allocates a few MiB at most whatever the header claims. A file
// that is still growing may be parsed: only its first size bytes count.
//
// Every error is an [*Error] without Path, with the causes named at [Open].
func Parse(r io.ReaderAt, size int64) (*Info, error) {
	p := &parser{r: r, size: size, info: &Info{FileBytes: size}, budget: maxMetaBytes}
	if err := p.walk(); err != nil {
		return nil, err
	}
	return p.info, nil
}

// parser is one walk through one file.
type parser struct {
	r      io.ReaderAt
	size   int64 // bytes that count
	budget int64 // metadata bytes that may still be read
	info   *Info

	riffSize int64 // as declared in the first header, or in ds64
	ds64     *ds64
	haveFmt  bool
	haveData bool
	dataEnd  int64
	ahead    []byte // read ahead for headers of chunks, from aheadAt on
	aheadAt  int64
	searched int64 // bytes
	cues     cueSheet
}

// ds64 is the chunk with the 64-bit sizes of RF64 and BW64.
type ds64 struct {
	riff, data int64
	frames     int64            // not to be trusted by itself
	table      map[string]int64 // sizes of other chunks
}

func (p *parser) fail(at int64, err error) error {
	return &Error{Doing: "not read", Offset: at, Err: err}
}

func (p *parser) repair(at int64, format string, args ...any) {
	if len(p.info.Repairs) < maxRepairs {
		p.info.Repairs = append(p.info.Repairs, Repair{Offset: at, Problem: fmt.Sprintf(format, args...)})
	}
}

// unfinished is a repair of a header that was never finished, or does not
// cover what is there.
func (p *parser) unfinished(at int64, format string, args ...any) {
	p.info.Unfinished = true
	p.repair(at, format, args...)
}

func (p *parser) walk() error {
	pos, err := p.fileHeader()
	if err != nil {
		return err
	}
	junk := int64(-1) // where bytes that are no chunk begin
	for n := 0; pos < p.size; n++ {
		if n == maxChunks {
			p.repair(pos, "more than %d chunks; the rest is passed over", maxChunks)
			break
		}
		h, ok, err := p.headerAt(pos)
		if err != nil && !p.readable() {
			return p.fail(pos, err)
		}
		if err != nil {
			p.repair(pos, "not read: %v; the rest is passed over", err)
			break
		}
		if !ok && !p.readable() {
			if next, found := p.search(pos); found {
				p.repair(pos, "%d bytes that are no chunk; passed over", next-pos)
				pos = next
				continue
			}
		}
		if !ok {
			junk = pos
			break
		}
		if pos, err = p.chunk(h); err != nil {
			return err
		}
	}
	if !p.haveFmt {
		return p.fail(min(pos, p.size), fmt.Errorf("%w among the chunks found", ErrNoFormat))
	}
	if junk >= 0 {
		p.repair(junk, "%d bytes after the last chunk; ignored", p.size-junk)
	}
	if !p.haveData {
		p.info.DataOffset, p.dataEnd = p.size, p.size
		p.unfinished(p.size, "no data chunk; no frames assumed")
	}
	p.checkRIFFSize(junk)
	p.finish()
	return nil
}

// readable reports whether enough is known to read the audio.
func (p *parser) readable() bool { return p.haveFmt && p.haveData }

// fileHeader reads the first 12 bytes and returns where the chunks begin.
func (p *parser) fileHeader() (int64, error) {
	if p.size <= 0 {
		return 0, p.fail(0, ErrEmpty)
	}
	b, err := p.bytes(0, 12)
	if err != nil {
		return 0, p.fail(0, err)
	}
	if len(b) < 12 {
		return 0, p.fail(0, fmt.Errorf("%w: %d bytes, a header has 12", ErrNotWAV, len(b)))
	}
	switch string(b[:4]) {
	case "RIFF":
		p.info.Container = RIFF
	case "RF64":
		p.info.Container = RF64
	case "BW64":
		p.info.Container = BW64
	case "RIFX":
		return 0, p.fail(0, fmt.Errorf("%w: big-endian RIFX", ErrUnsupported))
	default:
		return 0, p.fail(0, fmt.Errorf("%w: starts with %q", ErrNotWAV, b[:4]))
	}
	if string(b[8:]) != "WAVE" {
		return 0, p.fail(8, fmt.Errorf("%w: RIFF form %q", ErrNotWAV, b[8:]))
	}
	p.riffSize = int64(binary.LittleEndian.Uint32(b[4:]))
	return 12, nil
}

// header is a chunk's first 8 bytes.
type header struct {
	id   string
	at   int64 // offset of the id
	size int64 // the 32-bit size as declared
}

func (h header) body() int64 { return h.at + 8 }

// headerAt reads a chunk header. ok is false where there is none: too few
// bytes, or an id that is not printable.
func (p *parser) headerAt(at int64) (h header, ok bool, err error) {
	if at < 0 || at > p.size-8 {
		return h, false, nil
	}
	b, err := p.headerBytes(at)
	if err != nil || len(b) < 8 || !printable(b[:4]) {
		return h, false, err
	}
	return header{string(b[:4]), at, int64(binary.LittleEndian.Uint32(b[4:]))}, true, nil
}

// headerBytes reads 8 bytes, and others ahead: small chunks follow each other.
func (p *parser) headerBytes(at int64) ([]byte, error) {
	if i := at - p.aheadAt; i >= 0 && i+8 <= int64(len(p.ahead)) {
		return p.ahead[i : i+8], nil
	}
	const most = 4 << 10
	if b, err := p.bytes(at, most); err == nil && len(b) >= 8 {
		p.ahead, p.aheadAt = b, at
		return b[:8], nil
	}
	return p.bytes(at, 8) // a bad sector behind it is no trouble of this chunk
}

// printable reports whether b can be a chunk id.
func printable(b []byte) bool {
	for _, c := range b {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return b[0] != ' '
}

// bytes reads up to n bytes, fewer at the end of the file.
func (p *parser) bytes(at, n int64) ([]byte, error) {
	b := make([]byte, max(0, min(n, p.size-at)))
	got, err := p.r.ReadAt(b, at)
	if got == len(b) || err == io.EOF {
		err = nil // shorter than when its size was asked for
	}
	return b[:got], err
}

// chunk deals with one chunk and returns where the next one begins.
func (p *parser) chunk(h header) (int64, error) {
	if h.id == "data" {
		return p.dataChunk(h), nil
	}
	size := h.size
	if size == noSize && p.ds64 != nil {
		if s, ok := p.ds64.table[h.id]; ok {
			size = s
		}
	}
	end := h.body() + size
	next := int64(-1) // where the next chunk was found, if the size is wrong
	if size > p.size-h.body() {
		end = p.size
		if at, found := p.search(h.body()); found && !p.readable() {
			end, next = at, at
			p.repair(h.at, "%s chunk of %d bytes runs past the end of the file; read up to the next chunk, at byte %d", h.id, size, next)
		} else {
			p.repair(h.at, "%s chunk of %d bytes runs past the end of the file; read as far as it goes", h.id, size)
		}
	}
	if err := p.content(h, end-h.body()); err != nil {
		if !errors.Is(err, errChunk) && (h.id == "fmt " || !p.readable()) {
			return 0, p.fail(h.at, err)
		}
		p.repair(h.at, "%s chunk: %v", h.id, err)
	}
	if next >= 0 {
		return next, nil
	}
	return p.next(end, size), nil
}

// errChunk marks trouble with a chunk without which the audio can be read.
var errChunk = errors.New("damaged")

// content reads the chunks that are known and passes over the others.
func (p *parser) content(h header, size int64) error {
	limit := int64(maxTextChunk)
	switch h.id {
	case "ds64":
		limit = 28 + 12*maxDS64Table
	case "fmt ":
		if p.haveFmt {
			return fmt.Errorf("%w: a second one; the first one counts", errChunk)
		}
		limit = 64
	case "cue ":
		limit = maxCueChunk
	case "bext", "iXML", "LIST":
	default:
		return nil
	}
	if meta := h.id != "fmt " && h.id != "ds64"; meta {
		limit = min(limit, p.budget)
		p.budget -= min(size, limit)
		if size > limit {
			p.repair(h.at, "%s chunk of %d bytes; the first %d are read", h.id, size, limit)
		}
	}
	b, err := p.bytes(h.body(), min(size, limit))
	if err != nil {
		return err
	}
	m := &p.info.Meta
	switch h.id {
	case "ds64":
		p.ds64, err = parseDS64(b)
		if err == nil && p.info.Container != RIFF {
			p.riffSize = p.ds64.riff
		}
	case "fmt ":
		var problem string
		p.info.Format, problem, err = parseFormat(b)
		p.haveFmt = err == nil
		if problem != "" {
			p.repair(h.at, "%s", problem)
		}
	case "bext":
		if m.Bext == nil {
			m.Bext, err = parseBext(b)
		}
	case "iXML":
		if m.IXML == nil {
			m.IXML, err = parseIXML(b)
		}
	case "cue ":
		err = p.cues.parseCue(b)
	case "LIST":
		if len(b) >= 4 && string(b[:4]) == "adtl" {
			err = p.cues.parseAdtl(b[4:])
		}
		if len(b) >= 4 && string(b[:4]) == "INFO" {
			m.Tags, err = parseInfo(m.Tags, b[4:])
		}
	}
	return err
}

func parseDS64(b []byte) (*ds64, error) {
	if len(b) < 28 {
		return nil, fmt.Errorf("%w: %d bytes, 28 needed", errChunk, len(b))
	}
	le := binary.LittleEndian
	size := func(at int) int64 { return int64(min(le.Uint64(b[at:]), 1<<62)) }
	d := &ds64{riff: size(0), data: size(8), frames: size(16), table: map[string]int64{}}
	for at := 28; at+12 <= len(b) && uint32(at-28)/12 < le.Uint32(b[24:]); at += 12 {
		d.table[string(b[at:at+4])] = size(at + 4)
	}
	return d, nil
}

// next returns where the chunk after one that ends at end begins. Odd chunks
// are followed by a pad byte that is not counted in their size, and that some
// writers forget: so both places are looked at, the right one first.
func (p *parser) next(end, size int64) int64 {
	if size%2 == 0 || end >= p.size {
		return end
	}
	evenInside, even := p.plausible(end + 1)
	oddInside, odd := p.plausible(end)
	if evenInside || !odd || even && !oddInside {
		return end + 1
	}
	p.repair(end, "pad byte missing after a chunk of %d bytes; read on without it", size)
	return end
}

// plausible reports whether a chunk begins at the given place: ok where its id
// can be one, inside where it also ends inside the file.
func (p *parser) plausible(at int64) (inside, ok bool) {
	h, ok, err := p.headerAt(at)
	if err != nil || !ok {
		return false, false
	}
	return h.size <= p.size-h.body(), true
}

// checkRIFFSize compares the size of the whole, as declared, with the file.
// junk is where bytes that are no chunk begin, or -1.
func (p *parser) checkRIFFSize(junk int64) {
	end := 8 + p.riffSize
	at := int64(4)
	if p.info.Container != RIFF {
		at = 20 // in ds64, which comes first
		if p.ds64 == nil {
			return // already said at the data chunk
		}
	}
	near := func(a, b int64) bool { return a-b <= 1 && b-a <= 1 } // a pad byte more or less
	switch {
	case near(end, p.size), junk >= 0 && near(end, junk):
	case p.riffSize == 0 || p.riffSize == noSize && p.info.Container == RIFF:
		p.unfinished(at, "RIFF size %d was never filled in; the file has %d bytes", p.riffSize, p.size)
	case end < p.dataEnd:
		p.unfinished(at, "RIFF size covers %d of %d bytes and ends inside the audio", end, p.size)
	default:
		p.repair(at, "RIFF size covers %d bytes, the file has %d", end, p.size)
	}
}

// finish works out what needs the whole walk.
func (p *parser) finish() {
	in := p.info
	length := p.dataEnd - in.DataOffset
	frame := int64(in.Format.FrameBytes())
	if d := p.ds64; d != nil && length%2 == 0 && d.frames == (length-1)/frame && d.frames*frame == length-1 {
		// ffmpeg 5.1.9 does this; the pad byte would become a sample.
		p.repair(28, "ds64 counts the pad byte into %d bytes of audio; %d frames are read", length, d.frames)
		length--
	}
	in.Frames = length / frame
	if over := length % frame; over != 0 {
		p.repair(p.dataEnd-over, "last frame has %d of %d bytes; left out", over, frame)
	}
	in.Meta.Cues = p.cues.cues()
	slices.SortStableFunc(in.Repairs, func(a, b Repair) int {
		switch {
		case a.Offset < b.Offset:
			return -1
		case a.Offset > b.Offset:
			return 1
		}
		return 0
	})
}
