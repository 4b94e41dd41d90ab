//go:build linux || darwin

package session

import "syscall"

// freeBytes returns how many bytes an ordinary user may still write to the disk
// that holds dir.
func freeBytes(dir string) (free uint64, known bool) {
	var st syscall.Statfs_t
	if err := syscall.Statfs(dir, &st); err != nil {
		return 0, false
	}
	return uint64(st.Bavail) * uint64(st.Bsize), true
}
