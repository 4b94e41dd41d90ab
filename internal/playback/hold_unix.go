//go:build unix

package playback

import (
	"fmt"
	"os"
	"syscall"
)

// identity identifies a file by device and inode, which are the same for all its
// names.
func identity(path string, info os.FileInfo) string {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprintf("%d-%d", st.Dev, st.Ino)
	}
	return identityOfPath(path)
}
