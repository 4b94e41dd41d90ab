//go:build cgo && (amd64 || arm64)

package spectrum

// -std=c11 keeps gcc from fusing a product and a sum into one operation, which
// would round differently. -Wno-psabi: only inlined functions take vectors.

// #cgo CFLAGS: -std=c11 -O3 -Wno-psabi
// #cgo noescape spectrum_gather
// #cgo nocallback spectrum_gather
// #cgo noescape spectrum_power
// #cgo nocallback spectrum_power
// #cgo noescape spectrum_bands
// #cgo nocallback spectrum_bands
// #include "vector_api.h"
import "C"

import "unsafe"

// vectorKernels returns the compiled kernels that this processor can run, the
// fastest first.
func vectorKernels() []kernel {
	var all []kernel
	for k := kernel(C.KERNELS) - 1; k > plain; k-- {
		if C.spectrum_kernel_runs(C.int(k)) != 0 {
			all = append(all, k)
		}
	}
	return all
}

func kernelName(k kernel) string { return C.GoString(C.spectrum_kernel_name(C.int(k))) }

// gatherVector is decimator.gather.
func gatherVector(k kernel, g *gather, d *decimator, words []uint32, frames, stride int) {
	floats := C.int(0)
	if d.floats {
		floats = 1
	}
	C.spectrum_gather(C.int(k), (*C.struct_gather)(unsafe.Pointer(g)), floats, C.int64_t(d.factor), C.int64_t(d.shift), C.float(d.scale),
		(*C.uint32_t)(&words[0]), C.int64_t(frames), C.int64_t(stride))
}

// powerVector is transform.power.
func powerVector(k kernel, t *transform, points, power []float32) {
	C.spectrum_power(C.int(k), (*C.struct_transform)(unsafe.Pointer(t)), (*C.float)(&points[0]), (*C.float)(&power[0]))
}

// bandsVector is bandSums.
func bandsVector(k kernel, b []band, gain, power, sums []float32) {
	C.spectrum_bands(C.int(k), (*C.struct_band)(unsafe.Pointer(&b[0])), C.int64_t(len(b)), (*C.float)(&gain[0]), (*C.float)(&power[0]), (*C.float)(&sums[0]))
}

// Structures that Go and C share must have the same size; a difference does not
// compile.
var (
	_ = [1]struct{}{}[unsafe.Sizeof(gather{})-C.sizeof_struct_gather]
	_ = [1]struct{}{}[unsafe.Sizeof(transform{})-C.sizeof_struct_transform]
	_ = [1]struct{}{}[unsafe.Sizeof(band{})-C.sizeof_struct_band]
	_ = [1]struct{}{}[Lanes-C.LANES]
	_ = [1]struct{}{}[points-C.POINTS]
	_ = [1]struct{}{}[Bins-C.BINS]
)
