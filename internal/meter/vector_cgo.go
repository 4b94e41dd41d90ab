//go:build cgo && (amd64 || arm64)

package meter

// -std=c11 keeps gcc from fusing a product and a sum into one operation, which
// would round differently.

// #cgo CFLAGS: -std=c11 -O3
// #cgo noescape decode_interleaved
// #cgo nocallback decode_interleaved
// #cgo noescape decode_mono
// #cgo nocallback decode_mono
// #cgo noescape measure_vector
// #cgo nocallback measure_vector
// #include "vector_api.h"
import "C"

import "unsafe"

// vectorKernels returns the compiled kernels that this processor can run, the
// fastest first.
func vectorKernels() []kernel {
	var all []kernel
	for k := kernel(C.KERNELS) - 1; k > plain; k-- {
		if C.kernel_runs(C.int(k)) != 0 {
			all = append(all, k)
		}
	}
	return all
}

func kernelName(k kernel) string { return C.GoString(C.kernel_name(C.int(k))) }

// decodeInterleaved converts n frames of interleaved channels in src, stride
// bytes from frame to frame, to rows.
func decodeInterleaved(k kernel, t SampleType, rows []uint32, channels int, src []byte, n, stride int) {
	C.decode_interleaved(C.int(k), C.int(t), (*C.uint32_t)(&rows[0]), C.int64_t(channels),
		(*C.uint8_t)(&src[0]), C.int64_t(len(src)), C.int64_t(n), C.int64_t(stride))
}

// decodeMono does the same for up to laneCount channels with a buffer each, from
// byte at on.
func decodeMono(k kernel, t SampleType, rows []uint32, bufs [][]byte, at, n int) {
	var p [laneCount]*C.uint8_t
	for i := range p {
		p[i] = (*C.uint8_t)(&bufs[min(i, len(bufs)-1)][at])
	}
	C.decode_mono(C.int(k), C.int(t), (*C.uint32_t)(&rows[0]), C.int64_t(len(bufs)), C.int64_t(n),
		p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], p[8], p[9], p[10], p[11], p[12], p[13], p[14], p[15])
}

// measureVector measures a block of a group; row at is its first frame.
func measureVector(k kernel, l *lanes, p *plan, rows []uint32, at int, tiles []tile) {
	C.measure_vector(C.int(k), (*C.struct_lanes)(unsafe.Pointer(l)), (*C.struct_plan)(unsafe.Pointer(p)),
		(*C.uint32_t)(&rows[at*laneCount]), (*C.struct_tile)(unsafe.Pointer(&tiles[0])))
}

// Structures that Go and C share must have the same size; a difference does not
// compile.
var (
	_ = [1]struct{}{}[unsafe.Sizeof(lanes{})-C.sizeof_struct_lanes]
	_ = [1]struct{}{}[unsafe.Sizeof(plan{})-C.sizeof_struct_plan]
	_ = [1]struct{}{}[unsafe.Sizeof(tile{})-C.sizeof_struct_tile]
	_ = [1]struct{}{}[laneCount-C.LANES]
	_ = [1]struct{}{}[tileFrames-C.TILE]
	_ = [1]struct{}{}[flatMark-C.FLAT_MARK]
	_ = [1]struct{}{}[crackMark-C.CRACK_MARK]
	_ = [1]struct{}{}[Uint8-C.TYPE_UINT8]
	_ = [1]struct{}{}[Float64-C.TYPE_FLOAT64]
)
