package main

import (
	"runtime/debug"

	"github.com/urfave/cli/v2"
)

// programVersion returns the module's version, or the revision that the program
// was built from; "development" where Go recorded neither, as under go run.
func programVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "development"
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		return v
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" {
			return s.Value
		}
	}
	return "development"
}

func (e *env) versionCommand() *cli.Command {
	return &cli.Command{
		Name:  "version",
		Usage: "print the program's version",
		Action: func(c *cli.Context) error {
			if err := arguments(c, 0, 0, "no arguments"); err != nil {
				return err
			}
			return e.printf("%s version %s\n", c.App.Name, c.App.Version)
		},
	}
}

func helpCommand() *cli.Command {
	return &cli.Command{
		Name:      "help",
		Usage:     "print what a command does and its options",
		ArgsUsage: "COMMAND…",
		Action: func(c *cli.Context) error {
			line := append([]string{c.App.Name}, c.Args().Slice()...)
			return c.App.RunContext(c.Context, append(line, "--help"))
		},
	}
}
