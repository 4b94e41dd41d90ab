package linecheck

// Next returns the input to play next and how many were heard: the first in order
// of track that is silent so far, else the first that was not recorded at all; ""
// if every input was heard.
func (r Report) Next() (channel string, heard int) {
	for _, in := range r.Inputs {
		switch {
		case in.Alive:
			heard++
		case channel == "":
			channel = in.Channel
		}
	}
	if channel == "" && len(r.NotRecorded) > 0 {
		channel = r.NotRecorded[0]
	}
	return channel, heard
}
