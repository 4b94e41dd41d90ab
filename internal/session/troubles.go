package session

import (
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
)

// Troubles returns a session's problems for people: what several songs have in
// common is one sentence that names the input and the songs. What concerns no
// single input comes last, as it was stored.
func Troubles(ses catalog.Session) []string {
	type trouble struct {
		input, text string
		songs       []string
	}
	of := map[string]catalog.SessionInput{} // by how the problem begins
	for _, in := range ses.Inputs {
		of[problemHead(ses.Items[in.Item], in)] = in
	}
	all, general := []*trouble{}, []string{}
	for _, p := range ses.Problems {
		head, text, _ := strings.Cut(p, ": ")
		in, ok := of[head]
		for !ok { // a name holds the mark itself
			more, rest, found := strings.Cut(text, ": ")
			if !found {
				break
			}
			head, text = head+": "+more, rest
			in, ok = of[head]
		}
		if !ok {
			general = append(general, p)
			continue
		}
		item := ses.Items[in.Item]
		input := fmt.Sprintf("%d %s", in.DeskInput, in.Channel)
		text = strings.ReplaceAll(text, fmt.Sprintf(" on %s", item.Show), "")
		i := slices.IndexFunc(all, func(t *trouble) bool { return t.input == input && t.text == text })
		if i < 0 {
			i = len(all)
			all = append(all, &trouble{input: input, text: text})
		}
		all[i].songs = append(all[i].songs, fmt.Sprintf("%s (%s)", item.Song, item.Show))
	}
	words := []string{}
	for _, t := range all {
		where := strings.Join(t.songs, ", ")
		if len(t.songs) == len(ses.Items) && len(t.songs) > 1 {
			where = "all songs"
		}
		words = append(words, fmt.Sprintf("%s, in %s: %s", t.input, where, t.text))
	}
	return append(words, general...)
}

// problemHead is how a problem begins that concerns one desk input of one item.
func problemHead(item catalog.SessionItem, in catalog.SessionInput) string {
	return fmt.Sprintf("%s (%s), desk input %d %s", item.Song, item.Show, in.DeskInput, in.Channel)
}
