//go:build unix

package meter

import (
	"syscall"
	"testing"
)

// No kernel reads beyond a buffer: the samples end where the memory ends, and a
// read beyond would end the process.
func TestKernelsStayInside(t *testing.T) {
	const length = 1 << 16
	page := syscall.Getpagesize()
	memory, err := syscall.Mmap(-1, 0, length+page, syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil {
		t.Skip(err)
	}
	defer syscall.Munmap(memory)
	if err := syscall.Mprotect(memory[length:], syscall.PROT_NONE); err != nil {
		t.Skip(err)
	}
	for _, k := range kernels() {
		for _, typ := range allTypes {
			for channels := 1; channels <= 18; channels++ {
				for frames := 1; frames <= 20; frames++ {
					size := channels * frames * typ.Bytes()
					m, err := New(Config{SampleRate: 8000, Channels: channels, Type: typ, Frames: 100, kernel: k})
					if err != nil {
						t.Fatal(err)
					}
					if err := m.Write(frames, memory[length-size:length]); err != nil {
						t.Fatal(err)
					}
					last := make([][]byte, channels)
					for i := range last {
						last[i] = memory[length-frames*typ.Bytes() : length]
					}
					if err := m.Write(frames, last...); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
	}
}
