package wavfile

import "bytes"

// dataChunk finds out how far the audio goes and returns where the next chunk
// begins. The rules for sizes that cannot be right are this house's own; they
// are listed in the table of TestDamagedHeaders.
func (p *parser) dataChunk(h header) int64 {
	declared := h.size
	fromDS64 := h.size == noSize && p.ds64 != nil
	if fromDS64 {
		declared = p.ds64.data
	}
	rest := p.size - h.body()
	if p.haveData {
		p.repair(h.at, "a second data chunk of %d bytes; only the first one is read", declared)
		return p.next(h.body()+min(declared, rest), declared)
	}
	p.haveData = true
	p.info.DataOffset = h.body()

	length := p.extent(h, declared, rest, fromDS64)
	p.dataEnd = h.body() + length
	return p.next(p.dataEnd, length)
}

// extent returns the bytes of audio after a data chunk's header. rest is what
// the file holds from there on.
func (p *parser) extent(h header, declared, rest int64, fromDS64 bool) int64 {
	start := h.body()
	switch {
	case h.size == noSize && !fromDS64:
		p.unfinished(h.at, "data size was never filled in; all %d bytes to the end of the file are read", rest)
		return rest
	case declared == 0 && rest > 0 && !p.chunksToEnd(start):
		p.unfinished(h.at, "data size is 0; all %d bytes to the end of the file are read", rest)
		return rest
	case declared > rest:
		p.unfinished(h.at, "data size is %d, the file holds %d bytes of it", declared, rest)
		return rest
	case !fromDS64 && rest >= 1<<32:
		return p.unwrap(h, declared, rest)
	case p.audioGoesOn(start + declared):
		p.unfinished(h.at, "data size is %d, but the audio goes on; all %d bytes to the end of the file are read", declared, rest)
		return rest
	}
	return declared
}

// unwrap mends a 32-bit size that has wrapped: the true length is the one of
// size + k·2^32 that ends where the file or another chunk does.
func (p *parser) unwrap(h header, declared, rest int64) int64 {
	const wrap = 1 << 32
	// k counts down: the audio is by far the largest chunk, so its end is near
	// the end of the file. 64 times 4 GiB below that is far enough.
	most := (rest - declared) / wrap
	for k := most; k >= max(0, most-64); k-- {
		length := declared + k*wrap
		end := h.body() + length
		if length == rest || length+1 == rest && length%2 == 1 || p.chunksToEnd(end+length%2) || p.chunksToEnd(end) {
			if k > 0 {
				p.unfinished(h.at, "data size %d has wrapped at 4 GiB; %d bytes are read", declared, length)
			}
			return length
		}
	}
	p.unfinished(h.at, "data size %d fits nothing past 4 GiB; all %d bytes to the end of the file are read", declared, rest)
	return rest
}

// chunksToEnd reports whether whole chunks, and nothing else, lie between the
// given place and the end of the file.
func (p *parser) chunksToEnd(at int64) bool {
	for range 64 {
		h, ok, err := p.headerAt(at)
		if err != nil || !ok {
			return false
		}
		at = h.body() + h.size
		if at == p.size || at+h.size%2 == p.size {
			return true
		}
		at += h.size % 2
	}
	return false
}

// audioGoesOn reports whether what follows the declared end of the audio is more
// of it: a recorder that updates its header now and then has lost power, or is
// still recording. Less than a tenth of a second is taken for somebody's appendix,
// and so is anything that begins with zeros or with a well-known tag, or is text.
func (p *parser) audioGoesOn(end int64) bool {
	if !p.haveFmt || p.size-end < int64(p.info.Format.SampleRate/10*p.info.Format.FrameBytes()) {
		return false
	}
	for _, at := range []int64{end, end + end%2} {
		if h, ok, _ := p.headerAt(at); ok && commonChunk(h.id) || p.chunksToEnd(at) {
			return false
		}
	}
	// 64 KiB are enough to tell zeros laid down in advance from the noise of a
	// converter.
	b, err := p.bytes(end, 64<<10)
	if err != nil || bytes.HasPrefix(b, []byte("ID3")) || bytes.HasPrefix(b, []byte("TAG")) {
		return false
	}
	return len(bytes.TrimLeft(b, "\x00")) > 0 && !looksLikeText(b)
}

// commonChunk reports whether id is one that recorders and editors put after the
// audio (common practice, no source). Four printable bytes alone are not rare
// enough: one in fifty places of a loud recording looks like that.
func commonChunk(id string) bool {
	switch id {
	case "LIST", "bext", "iXML", "cue ", "fact", "smpl", "inst", "plst", "umid", "levl", "axml", "chna",
		"id3 ", "ID3 ", "JUNK", "junk", "PAD ", "FLLR", "data":
		return true
	}
	return false
}
