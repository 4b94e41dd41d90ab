package playback

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"time"
)

// listWithin bounds the search for devices, in case an audio system hangs.
const listWithin = 10 * time.Second

// ListWord after the player's command makes it list the devices instead of
// playing.
const ListWord = "devices"

// Devices lists the sound devices that can play. It runs a process of its own,
// because audio systems print to the terminal, or hang. command is as in
// [Options].
func Devices(ctx context.Context, command []string) ([]DeviceInfo, error) {
	argv := command
	if argv == nil {
		self, err := os.Executable()
		if err != nil {
			return nil, fmt.Errorf("the devices could not be listed: %w", err)
		}
		argv = []string{self, PlayerCommand}
	}
	ctx, cancel := context.WithTimeout(ctx, listWithin)
	defer cancel()
	out, err := exec.CommandContext(ctx, argv[0], append(argv[1:len(argv):len(argv)], ListWord)...).Output()
	if err != nil {
		return nil, fmt.Errorf("the devices could not be listed: %w", err)
	}
	all := []DeviceInfo{}
	if err := json.Unmarshal(out, &all); err != nil {
		return nil, fmt.Errorf("the devices could not be listed: %w", err)
	}
	return all, nil
}
