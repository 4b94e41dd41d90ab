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
// #cgo noescape spectrum_follow
// #cgo nocallback spectrum_follow
// #cgo noescape spectrum_agree
// #cgo nocallback spectrum_agree
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

// followVector is Follower.follow.
func followVector(k kernel, f *Follower, music []Chroma, from, to int, like []float32, at []int32) {
	C.spectrum_follow(C.int(k), C.float(f.keep), C.float(f.slip), C.int64_t(f.seconds), C.int64_t(f.stride),
		(*C.float)(&f.ref[0]), (*C.float)(&f.similar[0]), (*C.float)(&f.ahead[0]), (*C.float)(&f.was[0]), (*C.float)(&f.behind[0]),
		(*C.float)(&music[0][0]), C.int64_t(len(music)), C.int64_t(from), C.int64_t(to), (*C.float)(&like[0]), (*C.int32_t)(&at[0]))
}

// agreeVector is Agreement.agree.
func agreeVector(k kernel, g *Agreement, a, b *Print) {
	C.spectrum_agree(C.int(k), (*C.uint64_t)(&a[0]), (*C.uint64_t)(&b[0]), (*C.int64_t)(&g.differ[0]))
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
	_ = [1]struct{}{}[PitchClasses-C.CLASSES]
	_ = [1]struct{}{}[nothing-C.NOTHING]
	_ = [1]struct{}{}[margin-C.LANES]
	_ = [1]struct{}{}[len(Print{})-C.WORDS]
	_ = [1]struct{}{}[MaxLag-C.MAX_LAG]
)
