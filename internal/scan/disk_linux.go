package scan

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/sys/unix"
)

// spinning reports whether a file lies on a disk with heads, which lose time on
// every way between two files. What is not known counts as a disk without.
func spinning(path string) bool {
	var st unix.Stat_t
	if unix.Stat(path, &st) != nil {
		return false
	}
	// A partition has no queue of its own; its disk has.
	dir := fmt.Sprintf("/sys/dev/block/%d:%d", unix.Major(st.Dev), unix.Minor(st.Dev))
	for _, queue := range []string{"/queue/rotational", "/../queue/rotational"} {
		if b, err := os.ReadFile(dir + queue); err == nil {
			return strings.TrimSpace(string(b)) == "1"
		}
	}
	return false
}
