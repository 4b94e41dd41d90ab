// Package playback feeds a desk's inputs from a playback session, live, straight
// from the recordings.
//
// [NewProgram] extracts from a session of the catalog what the player needs.
// [Start] runs the player, a process of its own, and returns a [Player] that
// takes commands and reports the state of playback; [Serve] is the other end of
// its pipe. Inside the player an [Engine] reads and mixes, and a [Sink] pulls
// from it: nothing ([Null]), a file ([FileSink]), or a device (package device
// below).
//
// Samples are float32, which holds 24 bits exactly. With all trims and the
// overall level at 0 dB the engine's output is the recording, bit for bit,
// except in fades.
//
// Show level in a PA or in in-ear monitors can hurt people. The engine is silent
// until the cautions are acknowledged, and starts at [StartLevelDB]. It falls
// silent when anything goes wrong: a slow disk, a lost device, the end of the
// process that started it. session.Cautions has the warnings; local rules and
// licensed practice come first.
package playback
