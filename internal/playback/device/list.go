package device

import (
	"fmt"
	"runtime"
	"slices"
	"strings"

	"github.com/gen2brain/malgo"

	"nightreel/internal/playback"
)

// backend is one of the system's ways to sound devices.
type backend struct {
	name string // as devices are named by it: "jack", "alsa:…"
	id   malgo.Backend
	only bool // it knows one device and no names
}

// backends are tried in this order: JACK, and PipeWire in its place, give all
// channels of an interface; what follows are the system's own ways.
func backends() []backend {
	switch runtime.GOOS {
	case "darwin":
		return []backend{{"coreaudio", malgo.BackendCoreaudio, false}, {"jack", malgo.BackendJack, true}}
	case "windows":
		return []backend{{"wasapi", malgo.BackendWasapi, false}, {"jack", malgo.BackendJack, true}}
	}
	return []backend{{"jack", malgo.BackendJack, true}, {"alsa", malgo.BackendAlsa, false}, {"pulse", malgo.BackendPulseaudio, false}}
}

// backendNull is miniaudio's own null device, for tests. malgo v0.11.24 gives
// it the number of the backend before it.
const backendNull = malgo.BackendNull + 1

// found is a device and how to open it.
type found struct {
	playback.DeviceInfo
	backend backend
	id      malgo.DeviceID
}

// List returns the devices that can play, those of a JACK server first. A part
// of the audio system that is not there is passed over.
func List() []playback.DeviceInfo {
	all := []playback.DeviceInfo{}
	for _, f := range list() {
		all = append(all, f.DeviceInfo)
	}
	return all
}

func list() []found {
	all := []found{}
	for _, b := range backends() {
		ctx, err := newContext(b, nil)
		if err != nil {
			continue
		}
		infos, err := ctx.Devices(malgo.Playback)
		if err != nil {
			infos = nil
		}
		for _, info := range infos {
			f := found{backend: b, id: info.ID}
			f.Name, f.Default = b.name+":"+info.Name(), info.IsDefault != 0
			if b.only {
				f.Name = b.name
			}
			if full, err := ctx.DeviceInfo(malgo.Playback, info.ID, malgo.Shared); err == nil {
				info = full
			}
			for _, format := range info.Formats {
				f.Outputs = max(f.Outputs, int(format.Channels))
				if r := int(format.SampleRate); r > 0 && !slices.Contains(f.Rates, r) {
					f.Rates = append(f.Rates, r)
				}
			}
			slices.Sort(f.Rates)
			all = append(all, f)
		}
		closeContext(ctx)
	}
	return all
}

// find returns the device that a name means: the whole name in any case, or a
// part of it that only one has. "" means JACK where a server runs, else the
// system's default.
func find(name string, all []found) (found, error) {
	if len(all) == 0 {
		return found{}, &NoDeviceError{Why: "this machine offers no sound device"}
	}
	fits := []found{}
	for _, f := range all {
		switch {
		case name == "" && (f.backend.only || f.Default), strings.EqualFold(f.Name, name):
			return f, nil
		case name != "" && strings.Contains(strings.ToLower(f.Name), strings.ToLower(name)):
			fits = append(fits, f)
		}
	}
	if len(fits) == 1 {
		return fits[0], nil
	}
	names := []string{}
	for _, f := range all {
		names = append(names, f.Name)
	}
	why := fmt.Sprintf("there is no sound device %q", name)
	if name == "" {
		why = "the system has no default sound device"
	} else if len(fits) > 1 {
		why = fmt.Sprintf("%q fits more than one sound device", name)
	}
	return found{}, &NoDeviceError{why, "there are " + strings.Join(names, ", ")}
}

// NoDeviceError says that there is no such device.
type NoDeviceError struct{ Why, Help string }

func (e *NoDeviceError) Error() string { return e.Why }

// Hint says which there are.
func (e *NoDeviceError) Hint() string { return e.Help }
