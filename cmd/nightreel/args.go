package main

import (
	"fmt"
	"strings"

	"github.com/urfave/cli/v2"
)

// arrange brings a command line into the only order that cli reads right:
// global options, the command's words, its options, then the arguments. People
// write options where they come to mind; cli takes all that follows the first
// argument for arguments, and lets an option without its value eat what follows.
// What stands behind "--" is left alone.
func arrange(app *cli.App, args []string) ([]string, error) {
	var global, words, options, rest []string
	path := app.Name
	commands, known := app.Commands, below(app.Commands)
	for i := 0; i < len(args); i++ {
		arg := args[i]
		if arg == "--" {
			rest = append(rest, args[i+1:]...)
			break
		}
		if !looksLikeOption(arg) {
			if sub := named(commands, arg); sub != nil && len(rest) == 0 {
				words, path = append(words, arg), path+" "+arg
				commands, known = sub.Subcommands, append(sub.Flags[:len(sub.Flags):len(sub.Flags)], below(sub.Subcommands)...)
			} else {
				rest = append(rest, arg)
			}
			continue
		}
		name, _, hasValue := strings.Cut(strings.TrimLeft(arg, "-"), "=")
		into := &options
		f := find(known, name)
		if f == nil {
			if f = find(app.Flags, name); f != nil && f != cli.HelpFlag { // help is about the command
				into = &global
			}
		}
		*into = append(*into, arg)
		if f == nil || hasValue || !takesValue(f) {
			continue // cli answers what it does not know
		}
		if i+1 == len(args) || looksLikeOption(args[i+1]) && (find(known, optionName(args[i+1])) != nil || find(app.Flags, optionName(args[i+1])) != nil) {
			return nil, &usageError{command: path, text: fmt.Sprintf("--%s needs a value", name)}
		}
		i++
		*into = append(*into, args[i])
	}
	out := append(append(global, words...), options...)
	if len(rest) > 0 {
		out = append(append(out, "--"), rest...)
	}
	return out, nil
}

// below returns the options of commands and of those below them: an option may stand
// before the last word of its command.
func below(commands []*cli.Command) []cli.Flag {
	var options []cli.Flag
	for _, c := range commands {
		options = append(append(options, c.Flags...), below(c.Subcommands)...)
	}
	return options
}

// looksLikeOption tells options from arguments; "-" and negative numbers are
// arguments.
func looksLikeOption(arg string) bool {
	return len(arg) > 1 && arg[0] == '-' && !strings.ContainsAny(arg[1:2], "0123456789.")
}

func optionName(arg string) string {
	name, _, _ := strings.Cut(strings.TrimLeft(arg, "-"), "=")
	return name
}

func named(commands []*cli.Command, name string) *cli.Command {
	for _, c := range commands {
		if c.HasName(name) {
			return c
		}
	}
	return nil
}

func find(options []cli.Flag, name string) cli.Flag {
	for _, f := range options {
		for _, n := range f.Names() {
			if n == name {
				return f
			}
		}
	}
	return nil
}

func takesValue(f cli.Flag) bool {
	d, ok := f.(cli.DocGenerationFlag)
	return ok && d.TakesValue()
}
