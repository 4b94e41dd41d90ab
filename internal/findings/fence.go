package findings

import (
	"fmt"
	"path"
	"runtime"
	"strings"

	"nightreel/catalog"
)

// failure is a panic that [fenced] caught.
type failure struct {
	message string
	stack   []string // "function file:line", the innermost call first
}

// mostCalls bounds how many calls of a stack are kept: a person sends them to us.
// Chosen.
const mostCalls = 12

// fenced returns what f returns. If f panics, it returns a failure instead.
func fenced[T any](f func() T) (value T, failed *failure) {
	defer func() {
		switch cause := recover().(type) {
		case nil:
		case *failure:
			failed = cause // of what f asked for
		default:
			failed = &failure{fmt.Sprint(cause), callsToPanic()}
		}
	}()
	return f(), nil
}

// derived returns a function that works out a value when it is first called and
// keeps it. If f panics, every call panics with the first call's [failure]: whoever
// needs the value fails for the same reason, all others are not affected.
func derived[T any](f func() T) func() T {
	var value T
	var failed *failure
	done := false
	return func() T {
		if !done {
			value, failed = fenced(f)
			done = true
		}
		if failed != nil {
			panic(failed)
		}
		return value
	}
}

// callsToPanic returns the calls between [fenced] and the panic that it is catching,
// the innermost first. It has no addresses, so the same facts give the same text.
func callsToPanic() []string {
	var counters [64]uintptr
	frames := runtime.CallersFrames(counters[:runtime.Callers(1, counters[:])])
	var calls []string
	panicked := false
	for len(calls) < mostCalls {
		frame, more := frames.Next()
		name := path.Base(frame.Function)
		switch {
		case strings.HasPrefix(frame.Function, "runtime."):
			panicked = true
		case panicked && strings.HasPrefix(name, "findings.fenced["):
			return calls
		case panicked:
			calls = append(calls, fmt.Sprintf("%s %s:%d", name, path.Base(frame.File), frame.Line))
		}
		if !more {
			break
		}
	}
	return calls
}

// of says what a judge that failed did not judge.
func (f *failure) of(j judge) catalog.NotJudged {
	return catalog.NotJudged{Judge: j.name, Kinds: j.kinds, Error: f.message, Stack: f.stack}
}
