package device

import (
	"fmt"
	"runtime"
	"slices"
	"strings"

	"github.com/gen2brain/malgo"

	"nightreel/internal/playback"
)

// backend is one of the system's audio interfaces.
type backend struct {
	name string // prefix of its devices' names: "jack", "alsa:…"
	id   malgo.Backend
	only bool // it has one device, without a name
}

// backends are tried in this order: JACK, or PipeWire in its place, gives all
// channels of an interface; then the system's own interfaces.
func backends() []backend {
	switch runtime.GOOS {
	case "darwin":
		return []backend{{"coreaudio", malgo.BackendCoreaudio, false}, {"jack", malgo.BackendJack, true}}
	case "windows":
		return []backend{{"wasapi", malgo.BackendWasapi, false}, {"jack", malgo.BackendJack, true}}
	}
	return []backend{{"jack", malgo.BackendJack, true}, {"alsa", malgo.BackendAlsa, false}, {"pulse", malgo.BackendPulseaudio, false}}
}

// backendNull is miniaudio's own null device, for tests. malgo v0.11.24 has the
// preceding backend's number for it.
const backendNull = malgo.BackendNull + 1

// found is a device and how to open it.
type found struct {
	playback.DeviceInfo
	backend backend
	id      malgo.DeviceID
}

// List returns the devices that can play, those of a JACK server first. It skips
// backends that are not available.
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

// find returns the device with a name: the whole name in any case, or a part of
// it that only one device has. "" means JACK if a server runs, else the system's
// default.
func find(name string, all []found) (found, error) {
	if len(all) == 0 {
		return found{}, &NoDeviceError{Why: "this machine has no sound device"}
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

// NoDeviceError reports that there is no such device.
type NoDeviceError struct{ Why, Help string }

func (e *NoDeviceError) Error() string { return e.Why }

// Hint lists the devices that there are.
func (e *NoDeviceError) Hint() string { return e.Help }
