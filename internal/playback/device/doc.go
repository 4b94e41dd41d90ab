// Package device plays on the sound devices of the machine: JACK, PipeWire
// through JACK, ALSA and PulseAudio on Linux, CoreAudio on macOS, WASAPI on
// Windows. Start with [List] and [Open].
//
// If a device differs from the request, the library below (miniaudio) mixes,
// permutes or resamples silently. So a device is opened twice: first to learn
// its channels, rate and coding, then with exactly these. It is refused unless
// the library then reports that samples pass through unchanged. Unused outputs
// get silence.
//
// Use the package only in the player's process: see playback.Serve.
package device
