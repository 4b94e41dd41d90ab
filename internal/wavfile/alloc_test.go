package wavfile

import (
	"bytes"
	"fmt"
	"runtime"
	"strings"
	"testing"
)

// allocated returns the bytes that f allocates.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// A small file may claim anything.
func TestClaimsAllocateNothing(t *testing.T) {
	f := fmtChunk(mono16)
	for _, id := range []string{"ds64", "fmt ", "bext", "iXML", "cue ", "LIST", "data", "fact", "abcd"} {
		for _, size := range []int64{1 << 30, 1<<31 - 1, noSize - 1, noSize} {
			t.Run(fmt.Sprintf("%s/%d", id, size), func(t *testing.T) {
				for _, body := range [][]byte{nil, []byte("INFO"), []byte("adtl"), u32(noSize), join([]byte("INFO"), sized("INAM", size)),
					join([]byte("adtl"), sized("labl", size, u32(1)))} {
					file := riffFile(f, sized(id, size, body))
					if n := allocated(func() { Parse(bytes.NewReader(file), int64(len(file))) }); n > 64<<10 {
						t.Errorf("a file of %d bytes allocates %d", len(file), n)
					}
				}
			})
		}
	}
	file := rf64File("RF64", 1<<62, 1<<62, f, sized("iXML", noSize))
	copy(file[44:], u32(noSize)) // entries of ds64's table
	if n := allocated(func() { Parse(bytes.NewReader(file), int64(len(file))) }); n > 64<<10 {
		t.Errorf("ds64 table: allocates %d", n)
	}
}

// A large file full of metadata is believed up to fixed bounds. The figure is
// all that passes through the allocator; what is held at once is less.
func TestLargeMetadataIsBounded(t *testing.T) {
	const most = 16 << 20
	f := fmtChunk(mono16)
	for name, c := range map[string][]byte{
		"bext":            chunk("bext", bytes.Repeat([]byte{'x'}, 8<<20)),
		"bext 8859-1":     chunk("bext", bytes.Repeat([]byte{0xE9}, 8<<20)),
		"iXML text":       chunk("iXML", []byte("<B><PROJECT>"+strings.Repeat("x", 8<<20))),
		"iXML deep":       chunk("iXML", []byte(strings.Repeat("<a>", 3<<20))),
		"iXML tracks":     chunk("iXML", []byte("<B><TRACK_LIST>"+strings.Repeat("<TRACK/>", 1<<20))),
		"iXML attributes": chunk("iXML", []byte("<B "+strings.Repeat("a='' ", 2<<20))),
		"cue":             chunk("cue ", u32(noSize), make([]byte, 8<<20)),
		"INFO":            chunk("LIST", []byte("INFO"), bytes.Repeat(chunk("IABC"), 1<<20)),
		"adtl":            chunk("LIST", []byte("adtl"), manyLabels(1<<19)),
		"many chunks":     bytes.Repeat(chunk("abcd"), 1<<20),
		"many lists":      bytes.Repeat(chunk("LIST", []byte("adtl"), manyLabels(1<<10)), 3<<9),
	} {
		file := riffFile(f, c)
		n := allocated(func() {
			in, err := Parse(bytes.NewReader(file), int64(len(file)))
			if err != nil || len(in.Repairs) == 0 {
				t.Errorf("%s: %v, and no word of what was left out", name, err)
			}
		})
		t.Logf("%s: %.1f MiB", name, float64(n)/(1<<20))
		if n > most {
			t.Errorf("%s: allocates %d MiB", name, n>>20)
		}
	}
}

func manyLabels(n int) []byte {
	var b []byte
	for i := range n {
		b = appendChunk(b, "labl", u32(int64(i)))
	}
	return b
}
