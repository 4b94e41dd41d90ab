package catalog

import "fmt"

// NotJudged says which kinds of findings about a recording are not known because a
// judge stopped with an error of nightreel's own. The other kinds are known.
type NotJudged struct {
	Rig   string        `json:"rig"`
	Judge string        `json:"judge"` // its name in nightreel's source
	Kinds []FindingKind `json:"kinds"` // what it would have reported
	Error string        `json:"error"`
	Stack []string      `json:"stack"` // "function file:line", the innermost call first
}

// Report returns the lines that tell the developers what happened.
func (n NotJudged) Report() []string {
	lines := []string{fmt.Sprintf("judge %s: %s", n.Judge, n.Error)}
	for _, call := range n.Stack {
		lines = append(lines, "  at "+call)
	}
	return lines
}
