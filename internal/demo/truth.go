package demo

import (
	"encoding/json"
	"time"
)

// Truth is what is known about the tour because it was invented: what was
// played when, what was broken where, and what only looks broken. Times are
// seconds from the first sample of the recording they speak of.
type Truth struct {
	Band   string   `json:"band"`
	Songs  []string `json:"songs"`
	Shows  []Show   `json:"shows"`
	Takes  []Take   `json:"takes"`
	Faults []Fault  `json:"faults"`
	// Healthy lists what looks like a fault and is none: a finding of one of its
	// kinds there is a false alarm.
	Healthy []Healthy `json:"healthy"`
	// PassedOver lists files that no recording consists of, with slashes, from
	// the tour's folder.
	PassedOver []string    `json:"passed_over"`
	InputLists []InputList `json:"input_lists"`
	Desks      []Desk      `json:"desks"`
	Notes      []Note      `json:"notes"`
}

// Show is one night.
type Show struct {
	Date       string      `json:"date"` // YYYY-MM-DD, the day it began
	Venue      string      `json:"venue"`
	Folder     string      `json:"folder"`             // in the tour's folder
	SetList    string      `json:"set_list,omitempty"` // file, from the tour's folder; "" = there is none
	Recordings []Recording `json:"recordings"`         // the main rig first
}

// Recording is one rig's capture of a show.
type Recording struct {
	Rig        string    `json:"rig"`
	Folder     string    `json:"folder"` // from the tour's folder
	StartsAt   time.Time `json:"starts_at"`
	OffsetS    float64   `json:"offset_s"` // start after the main rig's, seconds
	SampleRate int       `json:"sample_rate"`
	BitDepth   int       `json:"bit_depth"`
	Frames     int64     `json:"frames"`
	Tracks     int       `json:"tracks"` // that were recorded, the missing one not counted
	Files      []string  `json:"files"`  // from the tour's folder, in order of track, then time
}

// DurationS returns the length in seconds.
func (r Recording) DurationS() float64 { return float64(r.Frames) / float64(r.SampleRate) }

// Take is one song on one night, on the main rig's recording. It starts with
// the song's first note, count-in excluded, and ends when the last one is
// damped.
type Take struct {
	Show   string  `json:"show"`
	Song   string  `json:"song"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Fault is one planted fault. Kinds are those of the findings.
type Fault struct {
	Show    string  `json:"show"`
	Rig     string  `json:"rig"`
	Channel string  `json:"channel"`
	Track   int     `json:"track"` // track number in the input list
	Kind    string  `json:"kind"`
	StartS  float64 `json:"start_s"`
	EndS    float64 `json:"end_s"`
	// Samples counts the damaged samples of clipped (those in runs of three or
	// more at full scale), flat_top and dropout; 0 for other kinds.
	Samples int    `json:"samples,omitempty"`
	Why     string `json:"why"`
}

// Healthy names something that must not be reported.
type Healthy struct {
	Show    string   `json:"show"`
	Channel string   `json:"channel"`
	Track   int      `json:"track"`
	Kinds   []string `json:"kinds"` // that a hasty judge would raise
	Why     string   `json:"why"`
}

// InputList is one input list file.
type InputList struct {
	File string `json:"file"` // from the tour's folder
	From string `json:"from"` // the first show for which it is in force
	// Only says that the list is for that one night, laid over the one in
	// force: it has only the rows that differ.
	Only   bool    `json:"only"`
	Inputs []Input `json:"inputs"`
}

// Input is one row of an input list.
type Input struct {
	Track   int     `json:"track"`
	Channel string  `json:"channel"`
	GainDB  float64 `json:"gain_db"`
	Group   string  `json:"group"`
	Notes   string  `json:"notes,omitempty"`
}

// Desk is one desk file: what lies on which desk input tonight.
type Desk struct {
	Name   string      `json:"name"`
	File   string      `json:"file"`
	Inputs []DeskInput `json:"inputs"`
}

// DeskInput is one row of a desk file.
type DeskInput struct {
	Input   int     `json:"input"`
	Channel string  `json:"channel"`
	GainDB  float64 `json:"gain_db"`
}

// Note is what the engineer wrote down about a show.
type Note struct {
	Show string `json:"show"`
	Text string `json:"text"`
}

// WriteFile writes the truth as indented JSON to path, which must not lie in
// the tour's folder if that is to look like a real one.
func (t *Truth) WriteFile(path string) error {
	b, err := json.MarshalIndent(t, "", "\t")
	if err != nil {
		return err
	}
	return put(path, append(b, '\n'))
}
