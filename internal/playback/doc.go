// Package playback feeds a desk's inputs from a playback session, live, straight
// from the recordings.
//
// [NewProgram] turns a session of the catalog into what the player needs and
// nothing else. [Start] runs the player, a process of its own, and returns a
// [Player] that takes commands and tells where playback stands; [Serve] is the
// other end of its pipe. Inside the player an [Engine] reads, mixes and is
// pulled by a [Sink]: nothing ([Null]), a file ([FileSink]), or a device
// (package device below).
//
// Samples travel as float32, which holds 24 bits exactly: with all trims and
// the overall level at 0 dB what leaves the engine is what was recorded, bit
// for bit, outside of fades.
//
// Show level in a PA or in in-ear monitors can hurt people. The engine is
// silent until the cautions are acknowledged, starts at [StartLevelDB], and
// falls silent when anything goes wrong: a slow disk, a lost device, the end of
// the process that started it. session.Cautions has the texts; local rules and
// licensed practice come first.
package playback
