//go:build !cgo || !(amd64 || arm64)

package spectrum

func vectorKernels() []kernel { return nil }

func kernelName(kernel) string { return "" }

func gatherVector(kernel, *gather, *decimator, []uint32, int, int) { panic("no compiled kernel here") }

func powerVector(kernel, *transform, []float32, []float32) { panic("no compiled kernel here") }

func bandsVector(kernel, []band, []float32, []float32, []float32) { panic("no compiled kernel here") }

func followVector(kernel, *Follower, []Chroma, int, int, []float32, []int32) {
	panic("no compiled kernel here")
}

func agreeVector(kernel, *Agreement, *Print, *Print) { panic("no compiled kernel here") }
