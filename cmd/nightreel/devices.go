package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"

	"nightreel/internal/playback"
)

func (e *env) devicesCommand() *cli.Command {
	return &cli.Command{
		Name:  "devices",
		Usage: "list the sound devices that session play can use",
		Flags: []cli.Flag{jsonFlag()},
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			all, err := playback.Devices(c.Context, nil)
			if err != nil {
				return err
			}
			if c.Bool("json") {
				return e.printJSON(all)
			}
			t := newTable("~device", ">outputs", "~rates")
			for _, d := range all {
				outputs, rates := "?", []string{}
				if d.Outputs > 0 {
					outputs = fmt.Sprint(d.Outputs)
				}
				for _, r := range d.Rates {
					rates = append(rates, fmt.Sprintf("%g kHz", float64(r)/1000))
				}
				name := d.Name
				if d.Default {
					name += " (default)"
				}
				t.row(name, outputs, strings.Join(rates, ", "))
			}
			if err := e.printTable(t); err != nil {
				return err
			}
			return e.printf("%s; and null (no sound), file:PATH (writes what would be played to a WAV file)\n", count(len(all), "device"))
		},
	}
}
