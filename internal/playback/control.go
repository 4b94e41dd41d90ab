package playback

import (
	"fmt"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/meter"
)

// Verb is the kind of a command.
type Verb string

// The commands, each with the fields of [Command] that it reads.
const (
	// Acknowledge states that a person has read the cautions and takes charge.
	// Until then the outputs are silent.
	Acknowledge Verb = "acknowledge"

	Play     Verb = "play"     // from the present position, fading in
	Pause    Verb = "pause"    // fades out and keeps the position
	Stop     Verb = "stop"     // fades out, goes back to the item's start
	FadeOut  Verb = "fade_out" // the way to silence that always works: fades out playback and tones within FadeOutMS
	Next     Verb = "next"     // the next item's start, pre-roll included
	Previous Verb = "previous" // the item's start, or within 2 s of it that of the item before
	Locate   Verb = "locate"   // Item (optional) and AtS
	Skip     Verb = "skip"     // ByS, may be negative; stays within the item
	ToMarker Verb = "marker"   // Marker: index into ProgramItem.Markers of the current item; pre-roll included

	LoopFrom Verb = "loop_from" // loop start here, or at AtS if given
	LoopTo   Verb = "loop_to"   // loop end here, or at AtS if given; switches the loop on
	LoopOn   Verb = "loop_on"   // FromS and ToS if given, else the loop as it was
	LoopOff  Verb = "loop_off"

	Level Verb = "level"    // DB: overall level, MinLevelDB to MaxLevelDB
	Mute  Verb = "mute"     // Input, On
	Trim  Verb = "trim"     // Input, DB, Beyond: on top of the session's own trim, MinTrimDB to MaxTrimDB
	AtEnd Verb = "at_end"   // Then: "next" or "stop"
	Fade  Verb = "fade"     // MS: fades of loop, jumps, start and pause; 0 to 1000
	Roll  Verb = "pre_roll" // ByS: pre-roll of play from an item's start, 0 to 60 s

	Identify Verb = "identify" // counted tone through outputs First … Last (0 = all), DB, ToneHz
	LineUp   Verb = "line_up"  // steady tone on Outputs, DB, ToneHz
	ToneOff  Verb = "tone_off"

	Reopen Verb = "reopen" // opens the device again after it was lost; silent, stopped, at the starting level
	Quit   Verb = "quit"   // fades out and ends the player

	beat Verb = "beat" // ID: the player's own beat, returned by [Player]
)

// Limits and starting values. Common practice, no source, unless stated
// otherwise.
const (
	StartLevelDB  = -20.0 // overall level when a player is opened
	MinLevelDB    = -80.0 // below it is silence
	MaxLevelDB    = 0.0   // the recording is never made louder as a whole
	MinTrimDB     = -60.0
	MaxTrimDB     = 20.0
	StrokeDB      = 1.0   // most that one command raises the overall level or a trim by
	RiseDBPerS    = 10.0  // most that an output rises by in a second; it falls at once
	UnmuteDB      = -20.0 // relative to its level, where an output that was muted, or a steady tone, begins to rise
	DefaultFadeMS = 10.0
	FadeOutMS     = 300.0
	MaxOutputs    = 254   // limit of the device library
	ToneDB        = -40.0 // default dBFS peak of identification and line-up tones
	MaxToneDB     = -6.0
	ToneHz        = 1000.0
)

// Command is one line down the pipe. Fields that a verb does not read are left
// out. Inputs are desk inputs, outputs are the device's; both count from 1.
type Command struct {
	ID      int64    `json:"id,omitempty"` // set by [Player.Do]; the reply carries it
	Do      Verb     `json:"do"`
	Item    *int     `json:"item,omitempty"` // index into the items, from 0; nil = the current one
	AtS     *float64 `json:"at_s,omitempty"` // seconds from the take's start; negative = pre-roll
	ByS     float64  `json:"by_s,omitempty"`
	Marker  int      `json:"marker,omitempty"`
	FromS   *float64 `json:"from_s,omitempty"`
	ToS     *float64 `json:"to_s,omitempty"`
	DB      *float64 `json:"db,omitempty"`
	Input   int      `json:"input,omitempty"`
	On      bool     `json:"on,omitempty"`
	Then    string   `json:"then,omitempty"`
	MS      float64  `json:"ms,omitempty"`
	First   int      `json:"first,omitempty"`
	Last    int      `json:"last,omitempty"`
	Outputs []int    `json:"outputs,omitempty"`
	Hz      float64  `json:"hz,omitempty"`
	Beyond  bool     `json:"beyond,omitempty"` // the person confirms a trim that, with the session's, is beyond catalog.AskTrimDB
}

// words names what a command asks for, as messages do.
func (v Verb) words() string {
	switch v {
	case Locate:
		return "go to a place"
	case LoopFrom, LoopTo, LoopOn, LoopOff:
		return "loop"
	case AtEnd:
		return "at the song's end"
	case Fade:
		return "fade time"
	case LineUp:
		return "line-up tone"
	}
	return strings.ReplaceAll(strings.ReplaceAll(string(v), "pre_", "pre-"), "_", " ")
}

// State is what the player is doing.
type State string

const (
	Unarmed State = "unarmed" // open and silent: the cautions are not acknowledged
	Stopped State = "stopped" // at an item's start, silent
	Paused  State = "paused"  // somewhere in an item, silent
	Playing State = "playing"
	Waiting State = "waiting" // playing, but silent until the disk gives data again
	Tone    State = "tone"    // identification or line-up
	Lost    State = "lost"    // the device is gone; silent until [Reopen]
)

// Status is the state of playback, sent ten times a second.
type Status struct {
	State   State   `json:"state"`
	Item    int     `json:"item"`     // index into the items, from 0
	AtS     float64 `json:"at_s"`     // from the take's start; negative in the pre-roll
	LengthS float64 `json:"length_s"` // of the item
	Next    int     `json:"next"`     // item that comes by itself, -1 for none
	AtEnd   string  `json:"at_end"`   // "next" or "stop"

	Loop LoopStatus `json:"loop"`

	LevelDB   float64 `json:"level_db"` // present value, while it rises to the set one
	FadeMS    float64 `json:"fade_ms"`
	PreRollS  float64 `json:"pre_roll_s"`
	ToneOn    int     `json:"tone_output"` // output at which the identification walk is; 0 = none
	ToneDB    float64 `json:"tone_db"`     // of the sounding tone
	Device    string  `json:"device"`
	Connected string  `json:"connected"` // what the device's outputs are connected to, as far as known
	Rate      int     `json:"sample_rate"`

	Inputs []InputStatus `json:"inputs"` // one for every desk input of the session, in order

	BufferS       float64 `json:"buffer_s"`        // read ahead
	Underruns     int64   `json:"underruns"`       // times that silence was played because the disk was too slow
	LateBlocks    int64   `json:"late_blocks"`     // callbacks that came later than the device's buffer allows
	MaxCallbackMS float64 `json:"max_callback_ms"` // longest time spent in the audio callback
	PlayedS       float64 `json:"played_s"`        // audio handed to the device since it was opened

	Problems []Problem `json:"problems"` // newest last, at most 20; removed when solved
}

// LoopStatus is the loop, if one was set.
type LoopStatus struct {
	On    bool    `json:"on"`
	Item  int     `json:"item"`
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"` // 0 = not set yet
}

// InputStatus is one desk input now.
type InputStatus struct {
	DeskInput int                 `json:"desk_input"`
	Output    int                 `json:"output"`
	Channel   string              `json:"channel"`
	Status    catalog.InputStatus `json:"status"`    // in the current item
	PeakDBFS  meter.Level         `json:"peak_dbfs"` // sample peak at the output since the last status; null = silence
	TrimDB    float64             `json:"trim_db"`   // live, beside the session's; reached within 0.1 s
	Muted     bool                `json:"muted"`
	Limited   int64               `json:"limited_samples"` // cut to full scale since the player was opened
	Back      bool                `json:"back"`            // ticked: back on the stage
}

// Problem is something that the engineer must know now.
type Problem struct {
	Text string `json:"text"`
	Hint string `json:"hint,omitempty"`
}

// RefusedError reports that a command was understood but not carried out.
type RefusedError struct {
	Do   Verb
	Why  string
	Help string
}

func (e *RefusedError) Error() string { return fmt.Sprintf("%s: not done: %s", e.Do.words(), e.Why) }

// Hint returns what to do about it.
func (e *RefusedError) Hint() string { return e.Help }

// event is one line up the pipe: exactly one field is set.
type event struct {
	Opened *Opened `json:"opened,omitempty"`
	Beat   int64   `json:"beat,omitempty"` // counted from 1; to be returned
	Status *Status `json:"status,omitempty"`
	Reply  *reply  `json:"reply,omitempty"`
	Failed *reply  `json:"failed,omitempty"` // could not open; the player ends
	Waits  *string `json:"waits,omitempty"`  // the file that does not answer; "" once it has
}

// reply answers a command.
type reply struct {
	ID    int64  `json:"id"`
	Error string `json:"error,omitempty"` // "" = done
	Hint  string `json:"hint,omitempty"`
}

// Opened describes the device once it runs, silent.
type Opened struct {
	Device  string `json:"device"`
	Rate    int    `json:"sample_rate"`
	Outputs int    `json:"outputs"` // of the device
	Period  int    `json:"period"`  // frames a callback, 0 = not known yet
}
