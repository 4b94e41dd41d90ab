//go:build !linux

package scan

// spinning is not known here.
func spinning(string) bool { return false }
