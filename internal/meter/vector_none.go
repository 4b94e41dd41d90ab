//go:build !cgo || !(amd64 || arm64)

package meter

func vectorKernels() []kernel { return nil }

func kernelName(kernel) string { return "" }

const none = "no compiled kernel here"

func decodeInterleaved(kernel, SampleType, []uint32, int, []byte, int, int) { panic(none) }

func decodeMono(kernel, SampleType, []uint32, [][]byte, int, int) { panic(none) }

func measureVector(kernel, *lanes, *plan, []uint32, int, []tile) { panic(none) }
