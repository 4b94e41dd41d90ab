package lists

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"nightreel/catalog"
)

// show formats entries for a test's table: "title start end clock".
func show(entries []catalog.SetListEntry) []string {
	lines := []string{}
	for i, e := range entries {
		s := e.Song
		if e.StartS != nil {
			s += fmt.Sprintf(" @%g", *e.StartS)
		}
		if e.EndS != nil {
			s += fmt.Sprintf("-%g", *e.EndS)
		}
		if e.Clock {
			s += " clock"
		}
		if e.Position != i+1 {
			s += fmt.Sprintf(" at position %d", e.Position)
		}
		lines = append(lines, s)
	}
	return lines
}

func TestReadSetList(t *testing.T) {
	for _, c := range []struct {
		name, file, text string
		want             []string
	}{
		{"one title a line", "set.txt", "Paper Lanterns\nLow Tide\n", []string{"Paper Lanterns", "Low Tide"}},
		{"twice in a night", "set.txt", "Low Tide\nLow Tide\n", []string{"Low Tide", "Low Tide"}},
		{"blank lines and comments", "set.txt", "# Friday\n\n  Paper Lanterns  \n\t\n# key of E\nLow Tide", []string{"Paper Lanterns", "Low Tide"}},
		{"numbers with points", "set.txt", "1. Paper Lanterns\n2.Low Tide\n10) Third Rail\n", []string{"Paper Lanterns", "Low Tide", "Third Rail"}},
		{"numbers with dashes", "set.txt", "01 - Paper Lanterns\n02 – Low Tide\n", []string{"Paper Lanterns", "Low Tide"}},
		{"numbers with tabs", "set.txt", "1\tPaper Lanterns\t3:40\n2\tLow Tide\t4:05\n", []string{"Paper Lanterns", "Low Tide"}},
		{"numbers that count", "set.txt", "1 Paper Lanterns\n2 Low Tide\n3 7 Bridges\n", []string{"Paper Lanterns", "Low Tide", "7 Bridges"}},
		{"numbers in titles", "set.txt", "99 Lanterns\n7-11\n3.14 Blues\n1999\n22\n", []string{"99 Lanterns", "7-11", "3.14 Blues", "1999", "22"}},
		{"a number without title", "set.txt", "1. Paper Lanterns\n2.\n3. Low Tide\n", []string{"Paper Lanterns", "Low Tide"}},
		{"what follows the number stays", "set.txt", "1. (Intro)\n2. ...and Then\n3. - - -\n", []string{"(Intro)", "...and Then"}},
		{"bullets", "set.txt", "- Paper Lanterns\n• Low Tide\n* Third Rail\n", []string{"Paper Lanterns", "Low Tide", "Third Rail"}},
		{"separators", "set.txt", "Set 1\nPaper Lanterns\n-----\n— encore —\nLow Tide\nENCORE 2:\n*** guest ***\n== end ==\nThird Rail\n", []string{"Paper Lanterns", "Low Tide", "Third Rail"}},
		{"commas in titles", "set.txt", "Time, Start Again\nLow, Lower\n", []string{"Time, Start Again", "Low, Lower"}},
		{"quotes in titles", "set.txt", "\"Heron\" (slow\nLow Tide\n", []string{"\"Heron\" (slow", "Low Tide"}},

		{"times from the start", "set.csv", "title,start,end\nPaper Lanterns,00:09,03:52.5\nLow Tide,1:04:05,1:08:00\n", []string{"Paper Lanterns @9-232.5", "Low Tide @3845-4080"}},
		{"table in a text file", "set.txt", "start\ttitle\n0:09\tPaper Lanterns\n4:05\tLow Tide\n", []string{"Paper Lanterns @9", "Low Tide @245"}},
		{"semicolons", "set.csv", "Song;Begin;Length\nPaper Lanterns;0:09;3:40\nLow Tide;;\n", []string{"Paper Lanterns @9-229", "Low Tide"}},
		{"titles only", "set.csv", "Title\nPaper Lanterns\n", []string{"Paper Lanterns"}},
		{"time of day", "set.csv", "title,time,end\nPaper Lanterns,21:05,21:09:30\nLow Tide,9:10 pm,\nThird Rail,,\n", []string{"Paper Lanterns @75900-76170 clock", "Low Tide @76200 clock", "Third Rail"}},
		{"hours under start that can only be the time of day", "set.csv", "title,start\nPaper Lanterns,21:05:00\nLow Tide,21:09:00\n", []string{"Paper Lanterns @75900 clock", "Low Tide @76140 clock"}},
		{"a short tour's starts", "set.csv", "title,start\nPaper Lanterns,00:01\nLow Tide,00:08\nThird Rail,00:16\n", []string{"Paper Lanterns @1", "Low Tide @8", "Third Rail @16"}},
		{"past midnight", "set.csv", "clock,song,length\n23:55,Paper Lanterns,10:00\n00:06,Low Tide,4:00\n0:12:30,Third Rail,\n", []string{"Paper Lanterns @86100-86700 clock", "Low Tide @86760-87000 clock", "Third Rail @87150 clock"}},
		{"ends past midnight", "set.csv", "time,song,end\n23:55,Paper Lanterns,00:01\n", []string{"Paper Lanterns @86100-86460 clock"}},
		{"separators in a table", "set.csv", "title,start\nPaper Lanterns,0:09\n— encore —,\nLow Tide,4:05\n", []string{"Paper Lanterns @9", "Low Tide @245"}},
		{"length alone", "set.csv", "title,length\nPaper Lanterns,3:40\n", []string{"Paper Lanterns"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadSetList(strings.NewReader(c.text), c.file)
			if err != nil {
				t.Fatal(err)
			}
			if lines := show(got); !slices.Equal(lines, c.want) {
				t.Errorf("got  %q\nwant %q", lines, c.want)
			}
		})
	}
}

func TestReadSetListRefuses(t *testing.T) {
	for _, c := range []struct {
		name, text   string
		line         int
		column, says string
	}{
		{"empty", "", 0, "", "headings"},
		{"no headings", "Paper Lanterns,0:09\n", 0, "", "headings"},
		{"title missing", "title,start\n,0:09\n", 2, "title", "missing"},
		{"start in words", "title,start\nPaper Lanterns,soon\n", 2, "start", `"soon"`},
		{"end before start", "title,start,end\nPaper Lanterns,4:00,3:00\n", 2, "end", `"3:00"`},
		{"order", "title,start\nPaper Lanterns,4:00\nLow Tide,3:00\n", 3, "start", "line 2"},
		{"order of the day", "title,time\nPaper Lanterns,21:40\nLow Tide,21:04\n", 3, "time", "line 2"},
		{"not a time of day", "title,time\nPaper Lanterns,24:10\n", 2, "time", `"24:10"`},
		{"seconds as a time of day", "title,time\nPaper Lanterns,95\n", 2, "time", `"95"`},
		{"length in words", "title,start,length\nPaper Lanterns,4:00,long\n", 2, "length", `"long"`},
		{"two kinds of start", "title,start,time\nPaper Lanterns,4:00,21:04\n", 1, "time", `"start"`},
		{"times of day under start, h:mm", "title,start\nPaper Lanterns,21:05\nLow Tide,21:09\nThird Rail,21:14\n", 1, "start", "times of day"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := ReadSetList(strings.NewReader(c.text), "set.csv")
			var e *Error
			if !errors.As(err, &e) {
				t.Fatalf("got %v, %v; want *Error", show(got), err)
			}
			if e.Line != c.line || e.Column != c.column || !strings.Contains(err.Error(), c.says) || e.Hint() == "" {
				t.Errorf("%v (hint %q): want line %d, column %q, %q", err, e.Hint(), c.line, c.column, c.says)
			}
		})
	}
	if got, err := ReadSetList(strings.NewReader("# nothing\n\n"), "set.txt"); err == nil {
		t.Errorf("an empty text gives %v", got)
	}
}

func TestParseTime(t *testing.T) {
	for text, want := range map[string]float64{
		"0": 0, "95": 95, "95.5": 95.5, "0.1": 0.1, "1:35": 95, "01:35.25": 95.25, "75:30": 4530, "100:00": 6000,
		"1:02:03": 3723, "1:02:03.4": 3723.4, " 1:02:03,4 ": 3723.4, "0:00:00.001": 0.001, "12:00:00": 43200,
	} {
		if got, err := ParseTime(text); err != nil || got != want {
			t.Errorf("%q: %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", ":", "1:", ":30", "-5", "+5", "1:60", "1:5", "1:60:00", "1:2:03", "1:00:00:00", "1e3", "0x10", "inf", "NaN", "5.", ".5", "1:02.", "1.5:00", "2000:00:00", "9999999999", "1 2", "5s", "٣"} {
		got, err := ParseTime(text)
		var e *TimeError
		if !errors.As(err, &e) || e.Value != text || e.Hint() == "" {
			t.Errorf("%q: %v, %v; want *TimeError", text, got, err)
		}
	}
}

func TestClockTime(t *testing.T) {
	for text, want := range map[string]float64{"0:00": 0, "00:00:01": 1, "9:05": 32700, "21:05": 75900, "23:59:59": 86399, "12:05 AM": 300, "12:05 pm": 43500, "9:05pm": 75900} {
		if got, ok := ParseClock(text); !ok || got != want {
			t.Errorf("%q: %v, %v; want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "21", "24:00", "21:5", "21:60", "13:00 pm", "0:10 am", "21:05:60", "21:05:00:00", "-1:00", "100:00"} {
		if got, ok := ParseClock(text); ok {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
}
