//go:build !cgo || !(amd64 || arm64)

package meter

func vectorKernels() []kernel { return nil }

func kernelName(kernel) string { return "" }

func decodeVector(kernel, SampleType, []float64, int, int, []byte, int, int) {
	panic("no compiled kernel here")
}

func measureVector(kernel, *lanes, *plan, []float64, int, []tile) { panic("no compiled kernel here") }
