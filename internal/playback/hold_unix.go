//go:build unix

package playback

import (
	"fmt"
	"os"
	"syscall"
)

// identity names a file by device and inode: all its names lead to the same.
func identity(path string, info os.FileInfo) string {
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		return fmt.Sprintf("%d-%d", st.Dev, st.Ino)
	}
	return identityOfPath(path)
}
