package wavfile

import (
	"fmt"
	"maps"
	"slices"
)

// maxTags bounds the INFO entries that are kept; about thirty are defined.
const maxTags = 256

// parseInfo adds the entries of a LIST INFO to tags; the first of several
// counts. go-audio's list decoder is not used: it allocates whatever an entry
// claims, up to 4 GiB, and knows sixteen ids only.
func parseInfo(tags map[string]string, b []byte) (map[string]string, error) {
	err := subchunks(b, func(id string, b []byte) {
		s := text(b)
		if s == "" || len(tags) == maxTags {
			return
		}
		if tags == nil {
			tags = map[string]string{}
		}
		keepFirst(tags, id, s)
	})
	return tags, err
}

// appendInfo appends the LIST INFO chunk, ordered by id.
func appendInfo(b []byte, tags map[string]string) ([]byte, error) {
	if len(tags) > maxTags {
		return nil, fmt.Errorf("%d tags, %d are possible", len(tags), maxTags)
	}
	list := []byte("INFO")
	for _, id := range slices.Sorted(maps.Keys(tags)) {
		if len(id) != 4 || !printable([]byte(id)) {
			return nil, fmt.Errorf("tag %q: an id has four printable characters", id)
		}
		if tags[id] != "" {
			list = appendChunk(list, id, appendText(nil, tags[id]))
		}
	}
	if len(list) > maxTextChunk {
		return nil, fmt.Errorf("tags of %d bytes, %d are possible", len(list), maxTextChunk)
	}
	if len(list) == 4 {
		return b, nil
	}
	return appendChunk(b, "LIST", list), nil
}
