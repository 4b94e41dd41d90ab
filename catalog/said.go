package catalog

import "context"

// Word is a person's statement about a file, such as its show or its rig. It
// holds however often the file is scanned and whatever recording it is grouped
// into.
type Word struct {
	Content string    `json:"content"` // [File.Content], or the path: see [File.WordKey]
	About   WordAbout `json:"about"`
	Value   string    `json:"value"` // "" withdraws the statement
}

// WordAbout is what a word states.
type WordAbout string

// The kinds of words. The second group is given with a scan, and counts only if
// neither folders nor files give the answer.
const (
	SaidShow      WordAbout = "show"      // the date, and behind it the show's name
	SaidRig       WordAbout = "rig"       // the rig's name
	SaidVenue     WordAbout = "venue"     // the venue's name
	SaidReference WordAbout = "reference" // "yes": this recording is the show's reference

	SaidRight WordAbout = "right" // a note: the changed file is right as it is; see [Store.AcceptChange]

	ScanDate    WordAbout = "scan_date"
	ScanRig     WordAbout = "scan_rig"
	ScanPattern WordAbout = "scan_pattern" // the pattern of file names
)

// WordKey returns the key of a person's words about the file: its content, or
// its path if the content is not known yet.
func (f File) WordKey() string {
	if f.Content == "" {
		return "path " + f.Path
	}
	return f.Content
}

// Words returns all words about files, by [File.WordKey].
func (s *Store) Words(ctx context.Context) (map[string]map[WordAbout]string, error) {
	words, err := list(ctx, s.db, "SELECT content, about, value FROM said ORDER BY content, about", nil, func(row scanner) (w Word, err error) {
		return w, row.Scan(&w.Content, &w.About, &w.Value)
	})
	all := map[string]map[WordAbout]string{}
	for _, w := range words {
		if all[w.Content] == nil {
			all[w.Content] = map[WordAbout]string{}
		}
		all[w.Content][w.About] = w.Value
	}
	return all, err
}

// Say stores a person's words about files in one transaction; the latest word of
// a kind counts.
func (s *Store) Say(ctx context.Context, words []Word) error {
	return s.write(ctx, func(w *writing) error { return w.say(ctx, words) })
}

func (w *writing) say(ctx context.Context, words []Word) error {
	for _, word := range words {
		var body any
		if word.Value != "" {
			body = word
		}
		if err := w.put(ctx, FactWord, string(word.About)+"\t"+word.Content, body); err != nil {
			return err
		}
	}
	return nil
}

func (w *writing) projectWord(ctx context.Context, f Fact) error {
	if _, err := exec(ctx, w, "DELETE FROM said WHERE subject = ?", f.Subject); err != nil {
		return err
	}
	var word Word
	if there, err := f.read(&word); err != nil || !there {
		return err
	}
	_, err := exec(ctx, w, "INSERT INTO said (content, about, value, subject) VALUES (?, ?, ?, ?)", word.Content, word.About, word.Value, f.Subject)
	return err
}
