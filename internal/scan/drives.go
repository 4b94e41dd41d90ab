package scan

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// Drives returns the folders at which removable drives are mounted now, in order
// of name. It reads no file on them. An empty list says that none was found: a
// drive may be mounted elsewhere.
func Drives() []string {
	switch runtime.GOOS {
	case "linux":
		table, err := os.ReadFile("/proc/self/mounts")
		if err != nil {
			return nil
		}
		return mountedDrives(string(table))
	case "darwin":
		entries, err := os.ReadDir("/Volumes")
		if err != nil {
			return nil
		}
		all := []string{}
		for _, e := range entries {
			if e.IsDir() { // the system's own volume is a link
				all = append(all, filepath.Join("/Volumes", e.Name()))
			}
		}
		return all
	case "windows":
		all := []string{}
		for letter := 'D'; letter <= 'Z'; letter++ { // A to C are floppy disks and the system
			root := string(letter) + `:\`
			if _, err := os.Stat(root); err == nil {
				all = append(all, root)
			}
		}
		return all
	}
	return nil
}

// mountedDrives finds removable drives in a table of mounts as Linux prints it
// (proc_pid_mounts(5)): those below the folders that the Filesystem Hierarchy
// Standard 3.0 gives to removable and temporary media, and /run/media, where
// desktops mount them.
func mountedDrives(table string) []string {
	all := []string{}
	for line := range strings.Lines(table) {
		fields := strings.Fields(line)
		if len(fields) < 3 || fields[2] == "autofs" || fields[2] == "tmpfs" {
			continue
		}
		at := unescapeMount(fields[1])
		for _, below := range []string{"/media/", "/run/media/", "/mnt/"} {
			if strings.HasPrefix(at+"/", below) && len(at) >= len(below) && !slices.Contains(all, at) {
				all = append(all, at)
			}
		}
		if at == "/mnt" {
			all = append(all, at)
		}
	}
	slices.Sort(all)
	return all
}

// unescapeMount replaces the four escapes that the kernel writes.
func unescapeMount(s string) string {
	return strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`).Replace(s)
}
