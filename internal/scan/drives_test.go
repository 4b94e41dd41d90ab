package scan

import (
	"slices"
	"testing"
)

// TestMountedDrives: drives below the folders for removable media are found, with
// blanks in their names; the system's own mounts are not.
func TestMountedDrives(t *testing.T) {
	table := "sysfs /sys sysfs rw 0 0\n/dev/sda1 / ext4 rw 0 0\ntmpfs /run/user/1000 tmpfs rw 0 0\n" +
		"/dev/sdc1 /media/ada/RIG\\040MAIN exfat rw 0 0\n/dev/sdb1 /run/media/ada/BACKUP vfat rw 0 0\n" +
		"/dev/sdb1 /run/media/ada/BACKUP vfat rw 0 0\n/dev/sdd1 /mnt ext4 rw 0 0\n/dev/sde1 /mnt/lobby ext4 rw 0 0\n" +
		"auto /media/later autofs rw 0 0\n/dev/sdf /mediathek ext4 rw 0 0\nshort\n"
	want := []string{"/media/ada/RIG MAIN", "/mnt", "/mnt/lobby", "/run/media/ada/BACKUP"}
	if got := mountedDrives(table); !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
}
