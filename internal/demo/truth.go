package demo

import (
	"encoding/json"
	"time"
)

// Truth describes the invented tour: what was played when, which faults were
// planted where, and what only looks like a fault. Times are seconds from the
// first sample of the recording that they refer to.
type Truth struct {
	Band   string   `json:"band"`
	Songs  []string `json:"songs"`
	Shows  []Show   `json:"shows"`
	Takes  []Take   `json:"takes"`
	Faults []Fault  `json:"faults"`
	// Healthy lists what looks like a fault and is none: a finding of one of its
	// kinds there is a false alarm.
	Healthy []Healthy `json:"healthy"`
	// PassedOver lists files that belong to no recording, relative to the tour's
	// folder, with slashes.
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
	SetList    string      `json:"set_list,omitempty"` // file, relative to the tour's folder; "" = there is none
	Recordings []Recording `json:"recordings"`         // the main rig's first
}

// Recording is one rig's capture of a show.
type Recording struct {
	Rig        string    `json:"rig"`
	Folder     string    `json:"folder"` // relative to the tour's folder
	StartsAt   time.Time `json:"starts_at"`
	OffsetS    float64   `json:"offset_s"` // seconds by which it starts after the main rig's
	SampleRate int       `json:"sample_rate"`
	BitDepth   int       `json:"bit_depth"`
	Frames     int64     `json:"frames"`
	Tracks     int       `json:"tracks"` // number of recorded tracks, without the missing one
	Files      []string  `json:"files"`  // relative to the tour's folder, in order of track, then time
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
	Kinds   []string `json:"kinds"` // kinds that a wrong judge would report
	Why     string   `json:"why"`
}

// InputList is one input list file.
type InputList struct {
	File string `json:"file"` // relative to the tour's folder
	From string `json:"from"` // the first show for which it is in force
	// Only means that the list holds for that one night, on top of the one in
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

// Desk is one desk file: the channel of each desk input tonight.
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

// Note is an engineer's note about a show.
type Note struct {
	Show string `json:"show"`
	Text string `json:"text"`
}

// WriteFile writes the truth as indented JSON to path. To keep the tour's folder
// like a real one, choose a path outside it.
func (t *Truth) WriteFile(path string) error {
	b, err := json.MarshalIndent(t, "", "\t")
	if err != nil {
		return err
	}
	return put(path, append(b, '\n'))
}
