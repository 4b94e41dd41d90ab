package main

import (
	"os"
	"os/signal"

	"github.com/urfave/cli/v2"

	"nightreel/internal/playback"
	"nightreel/internal/playback/device"
	"nightreel/internal/tracks"
)

// playerCommand is the process that plays: nothing else runs in it. session
// play and the web app start it and talk to it over a pipe.
func (e *env) playerCommand() *cli.Command {
	return &cli.Command{
		Name:   playback.PlayerCommand,
		Hidden: true,
		Action: func(c *cli.Context) error {
			if c.Args().First() == playback.ListWord {
				return e.printJSON(device.List())
			}
			// Ctrl-C at the terminal reaches this process too. Whoever started it
			// decides; when they are gone the pipe ends, and it fades out.
			signal.Ignore(os.Interrupt)
			return playback.Serve(c.Context, os.Stdin, os.Stdout, openSink, tracks.OpenWAV)
		},
	}
}

// openSink opens what --device names.
func openSink(req playback.SinkRequest) (playback.Sink, error) {
	if s, known, err := playback.OpenBuiltin(req); known {
		return s, err
	}
	return device.Open(req)
}
