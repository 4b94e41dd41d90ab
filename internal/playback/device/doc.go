// Package device plays on the sound devices of the machine: JACK, PipeWire
// through JACK, ALSA and PulseAudio on Linux, CoreAudio on macOS, WASAPI on
// Windows. Start with [List] and [Open].
//
// The library below (miniaudio) mixes, permutes or resamples without a word
// when a device is not as it was asked for. So a device is opened twice: once
// to learn its channels, rate and coding, once with exactly these, and it is
// refused unless the library then says that samples pass through as they are.
// Inputs that are not used get silence.
//
// The package belongs into the player's process alone: see playback.Serve.
package device
