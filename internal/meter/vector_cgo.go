//go:build cgo && (amd64 || arm64)

package meter

// -std=c11 is what keeps gcc from fusing a product and a sum into one
// operation, which rounds differently.

// #cgo CFLAGS: -std=c11 -O3
// #cgo noescape decode_vector
// #cgo nocallback decode_vector
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

// decodeVector is decode for so many channels that lie side by side in src,
// each into its own stretch of dst, apart one from the other.
func decodeVector(k kernel, t SampleType, dst []float64, apart, channels int, src []byte, n, stride int) {
	C.decode_vector(C.int(k), C.int(t), (*C.double)(&dst[0]), C.int64_t(apart), C.int64_t(channels),
		(*C.uint8_t)(&src[0]), C.int64_t(len(src)), C.int64_t(n), C.int64_t(stride))
}

// measureVector measures a block of a group; buf starts at its first frame.
func measureVector(k kernel, l *lanes, p *plan, buf []float64, at int, tiles []tile) {
	C.measure_vector(C.int(k), (*C.struct_lanes)(unsafe.Pointer(l)), (*C.struct_plan)(unsafe.Pointer(p)),
		(*C.double)(&buf[at]), (*C.struct_tile)(unsafe.Pointer(&tiles[0])))
}

// What Go and C agree on has the same size; a difference does not compile.
var (
	_ = [1]struct{}{}[unsafe.Sizeof(lanes{})-C.sizeof_struct_lanes]
	_ = [1]struct{}{}[unsafe.Sizeof(plan{})-C.sizeof_struct_plan]
	_ = [1]struct{}{}[unsafe.Sizeof(tile{})-C.sizeof_struct_tile]
	_ = [1]struct{}{}[laneCount-C.LANES]
	_ = [1]struct{}{}[tileFrames-C.TILE]
	_ = [1]struct{}{}[Uint8-C.TYPE_UINT8]
	_ = [1]struct{}{}[Float64-C.TYPE_FLOAT64]
)
