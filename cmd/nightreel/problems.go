package main

import (
	"fmt"
	"path/filepath"
	"regexp"
	"strings"

	"nightreel/internal/scan"
)

// fileTrouble is all that is wrong with one file, in a sentence.
type fileTrouble struct {
	file, text, hint string
}

// manyFiles is from how many files of a folder on with the same trouble one line is
// printed for all of them.
const manyFiles = 3

// mostNames is how many of them are named each.
const mostNames = 6

// printProblems prints what a person should know about files, each below its folder,
// and one line for many files with the same trouble. It prints nothing where there is none.
func (e *env) printProblems(problems []scan.Problem) error {
	if len(problems) == 0 {
		return nil
	}
	e.printf("%s:\n", count(len(problems), "problem"))
	for _, folder := range byFolder(problems) {
		e.println(cutFront("  "+inline(folder.name), e.pathWidth()))
		alike := folder.alike()
		for i, t := range folder.files {
			text := filepath.Base(t.file) + ": " + t.text
			if names := alike[t.shape()]; len(names) >= manyFiles {
				if names[0] != filepath.Base(t.file) {
					continue // told with the first
				}
				which := strings.Join(names, ", ")
				if len(names) > mostNames {
					which = fmt.Sprintf("%d files, %s to %s", len(names), names[0], names[len(names)-1])
				}
				text = which + ": " + t.shape().text
			}
			if err := e.item("    ", "%s", text); err != nil {
				return err
			}
			if t.hint != "" && (i+1 == len(folder.files) || folder.files[i+1].hint != t.hint) { // once for all files that it is about
				e.sentence("      ", "hint: %s", t.hint)
			}
		}
	}
	return nil
}

type troubledFolder struct {
	name  string
	files []fileTrouble
}

// byFolder puts together what is wrong with each file, and the files of each folder.
func byFolder(problems []scan.Problem) []troubledFolder {
	var folders []troubledFolder
	at := map[string]int{}
	for _, p := range problems {
		name := filepath.Dir(p.File)
		i, known := at[name]
		if !known {
			i = len(folders)
			at[name] = i
			folders = append(folders, troubledFolder{name: name})
		}
		text := p.Problem
		if p.Offset > 0 {
			text += fmt.Sprintf(" (at byte %d)", p.Offset)
		}
		f := &folders[i]
		if n := len(f.files); n > 0 && f.files[n-1].file == p.File {
			f.files[n-1].text += "; " + text
			if p.Hint != "" {
				f.files[n-1].hint = p.Hint
			}
			continue
		}
		f.files = append(f.files, fileTrouble{p.File, text, p.Hint})
	}
	return folders
}

// shape is what is wrong with a file, but for the numbers, which differ from file to file.
type shape struct{ text, hint string }

var numbers = regexp.MustCompile(`[0-9]+`)

func (t fileTrouble) shape() shape { return shape{numbers.ReplaceAllString(t.text, "…"), t.hint} }

// alike returns for each shape the names of the folder's files that have it, in order.
func (f troubledFolder) alike() map[shape][]string {
	names := map[shape][]string{}
	for _, t := range f.files {
		names[t.shape()] = append(names[t.shape()], filepath.Base(t.file))
	}
	return names
}
