//go:build !unix

package playback

import "os"

// identity identifies a file by its resolved path.
func identity(path string, _ os.FileInfo) string { return identityOfPath(path) }
