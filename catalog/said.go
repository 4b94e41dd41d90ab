package catalog

import "context"

// Word is something a person said about a file: a fact that holds however often
// the file is scanned and whatever recording it is grouped into.
type Word struct {
	Content string    `json:"content"` // address of the file's bytes, as [File.Content], or its path: see [File.WordKey]
	About   WordAbout `json:"about"`
	Value   string    `json:"value"` // "" takes back what was said
}

// WordAbout is what a word is about.
type WordAbout string

// What a person says about files. The second group is said at a scan, and counts
// only where neither folders nor files tell.
const (
	SaidShow      WordAbout = "show"      // the date, and behind it the show's name
	SaidRig       WordAbout = "rig"       // the rig's name
	SaidVenue     WordAbout = "venue"     // the venue's name
	SaidReference WordAbout = "reference" // "yes": the show's positions count on its recording

	ScanDate    WordAbout = "scan_date"
	ScanRig     WordAbout = "scan_rig"
	ScanPattern WordAbout = "scan_pattern" // how file names are made
)

// WordKey returns what a person's words about the file are kept by: its content,
// or its path where the content is not known yet.
func (f File) WordKey() string {
	if f.Content == "" {
		return "path " + f.Path
	}
	return f.Content
}

// Words returns what was said about files, by [File.WordKey].
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

// Say states what a person said about files in one transaction; the latest word
// about a thing counts.
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
