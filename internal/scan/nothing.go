package scan

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
)

// recordingEnds are how the names of files end that may be recordings.
var recordingEnds = []string{".wav", ".wave", ".bwf", ".rf64"}

// otherAudio are how the names of audio files end that a scan does not read.
var otherAudio = []string{".aac", ".aif", ".aifc", ".aiff", ".ape", ".caf", ".flac", ".m4a", ".mka", ".mp3", ".ogg", ".opus", ".sd2", ".w64", ".wma", ".wv"}

// NoRecordingsError says that there is no recording in the folders to scan. What
// was wrong with files that might have been recordings is in Result.Problems.
type NoRecordingsError struct {
	Folders  []string       // as they were given
	Unusable int            // files that are named like recordings, and are none or cannot be read
	Own      int            // files that this program rendered or played into
	Other    map[string]int // audio files that are not read, by the end of their names
}

func (e *NoRecordingsError) Error() string {
	text := strings.Join(e.Folders, ", ") + ": there is no recording to scan; looked for WAV files (" + strings.Join(recordingEnds, ", ") + ")"
	if e.Unusable == 1 {
		text += "; 1 is there, and could not be used"
	} else if e.Unusable > 1 {
		text += fmt.Sprintf("; %d are there, and none could be used", e.Unusable)
	}
	if e.Own > 0 {
		text += fmt.Sprintf("; %d that nightreel rendered or played, which are no recordings", e.Own)
	}
	kinds := []string{}
	for _, end := range slices.Sorted(maps.Keys(e.Other)) {
		kinds = append(kinds, fmt.Sprintf("%d %s", e.Other[end], end))
	}
	if len(kinds) > 0 {
		text += "; other audio files, which are not read: " + strings.Join(kinds, ", ")
	}
	return text
}

// Hint says what to do about it.
func (e *NoRecordingsError) Hint() string {
	switch {
	case e.Unusable > 0:
		return "see what is wrong with the files above"
	case e.Own > 0:
		return "scan the folder that the recorder wrote"
	case len(e.Other) > 0:
		return "convert the files to WAV, or scan the folder that the recorder wrote"
	}
	return "check that the drive is mounted, and that the recordings lie below the folder"
}

// notUsed counts a file that is not read.
func (s *scan) notUsed(path string) {
	end := strings.ToLower(filepath.Ext(path))
	switch {
	case foreign(filepath.Base(path)):
	case slices.Contains(recordingEnds, end):
		s.unusable++
	case slices.Contains(otherAudio, end):
		if s.audio == nil {
			s.audio = map[string]int{}
		}
		s.audio[end]++
	}
}
