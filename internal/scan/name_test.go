package scan

import (
	"fmt"
	"slices"
	"testing"
)

func TestReadNames(t *testing.T) {
	for _, c := range []struct {
		about    string
		stems    []string
		sameTime bool
		want     []string // "track name segment"
	}{
		{"number first", []string{"01 Kick In", "02 Snare", "10 Guitar 2"}, true, []string{"1 Kick In -1", "2 Snare -1", "10 Guitar 2 -1"}},
		{"number first, underscores", []string{"01_Kick_In", "02_Snare"}, true, []string{"1 Kick In -1", "2 Snare -1"}},
		{"number first, hyphen", []string{"1-Kick", "2-Snare", "11-OH L"}, true, []string{"1 Kick -1", "2 Snare -1", "11 OH L -1"}},
		{"number last, each once", []string{"Kick In_01", "Snare Top_02", "Vocal 2_03"}, true, []string{"1 Kick In -1", "2 Snare Top -1", "3 Vocal 2 -1"}},
		{"number last, the same for all: a segment", []string{"Kick In_01", "Snare Top_01", "Vocal 2_01"}, true, []string{"0 Kick In 1", "0 Snare Top 1", "0 Vocal 2 1"}},
		{"number last, several a name: segments", []string{"Kick_01", "Kick_02", "Snare_01", "Snare_02"}, false, []string{"0 Kick 1", "0 Kick 2", "0 Snare 1", "0 Snare 2"}},
		{"track word and segment", []string{"TRK07_0001", "TRK07_0002", "TRK08_0001"}, false, []string{"7  1", "7  2", "8  1"}},
		{"one file with track word and segment", []string{"TRK07_0002"}, true, []string{"7  2"}},
		{"track word alone", []string{"Track 1", "Track 2", "Track 10"}, true, []string{"1  -1", "2  -1", "10  -1"}},
		{"track word and name", []string{"TRK01 Kick In", "TRK02 Snare"}, true, []string{"1 Kick In -1", "2 Snare -1"}},
		{"project before the track", []string{"Larks_TRK01_0001", "Larks_TRK02_0001"}, true, []string{"1  1", "2  1"}},
		{"channel word, date before", []string{"20310502_CH01", "20310502_CH02"}, true, []string{"1  -1", "2  -1"}},
		{"names alone", []string{"Kick In", "Snare", "Vocal"}, true, []string{"0 Kick In -1", "0 Snare -1", "0 Vocal -1"}},
		{"names that end in numbers", []string{"Guitar 1", "Guitar 2", "Vocal 1", "Vocal 2"}, true, []string{"0 Guitar 1 -1", "0 Guitar 2 -1", "0 Vocal 1 -1", "0 Vocal 2 -1"}},
		{"some names end in numbers", []string{"Kick", "Guitar 1", "Guitar 2", "Bass_2"}, true, []string{"0 Kick -1", "0 Guitar 1 -1", "0 Guitar 2 -1", "0 Bass 2 -1"}},
		{"first segment without number", []string{"Kick", "Kick_2", "Snare", "Snare_2"}, false, []string{"0 Kick 1", "0 Kick 2", "0 Snare 1", "0 Snare 2"}},
		{"number first and segment last", []string{"01 Kick_0001", "01 Kick_0002", "02 Snare_0001", "02 Snare_0002"}, false, []string{"1 Kick 1", "1 Kick 2", "2 Snare 1", "2 Snare 2"}},
		{"number first, one segment each", []string{"01 Kick_0001", "02 Snare_0001"}, true, []string{"1 Kick 1", "2 Snare 1"}},
		{"number first, name ends in number", []string{"01 Guitar 1", "02 Guitar 2"}, true, []string{"1 Guitar 1 -1", "2 Guitar 2 -1"}},
		{"segment first", []string{"0001_Kick", "0002_Kick", "0001_Snare", "0002_Snare"}, false, []string{"0 Kick 1", "0 Kick 2", "0 Snare 1", "0 Snare 2"}},
		{"one series side by side: tracks", []string{"Audio_01", "Audio_02", "Audio_03"}, true, []string{"1 Audio -1", "2 Audio -1", "3 Audio -1"}},
		{"one series one after the other: segments", []string{"Audio_01", "Audio_02", "Audio_03"}, false, []string{"0 Audio 1", "0 Audio 2", "0 Audio 3"}},
		{"a stray file does not spoil the pattern", []string{"01 Kick", "02 Snare", "03 Hat", "04 Tom", "Talkback"}, true, []string{"1 Kick -1", "2 Snare -1", "3 Hat -1", "4 Tom -1", "0 Talkback -1"}},
	} {
		t.Run(c.about, func(t *testing.T) {
			var got []string
			for _, n := range readNames(c.stems, c.sameTime) {
				got = append(got, fmt.Sprintf("%d %s %d", n.track, n.name, n.segment))
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("%q:\n got %q\nwant %q", c.stems, got, c.want)
			}
		})
	}
}

func TestReadPolyName(t *testing.T) {
	for _, c := range []struct {
		stem     string
		channels int
		want     string // "first last name segment"
	}{
		{"Larks_0003", 32, "0 0 Larks 3"},
		{"Larks_1-32_0003", 32, "1 32 Larks 3"},
		{"Larks TRK33-64_0001", 32, "33 64 Larks 1"},
		{"Larks_33-64_0001", 16, "0 0 Larks 33-64 1"},
		{"2031-05-02 Larks", 8, "0 0 Larks -1"},
		{"0007", 8, "0 0  7"},
		{"Larks", 8, "0 0 Larks -1"},
	} {
		n := readPolyName(c.stem, c.channels)
		if got := fmt.Sprintf("%d %d %s %d", n.track, n.last, n.name, n.segment); got != c.want {
			t.Errorf("%q with %d channels: got %q, want %q", c.stem, c.channels, got, c.want)
		}
	}
}

func TestNamePattern(t *testing.T) {
	for _, c := range []struct{ pattern, stem, want string }{
		{"{track} {name}_{segment}", "07 Kick In_0002", "7 Kick In 2"},
		{"{name}-{track}", "Kick-In-07", "7 Kick-In -1"},
		{"{*}_{track}_{*}", "gig_12_final_mix", "12  -1"},
		{"t{track}", "T09", "9  -1"},
		{"{track} {name}", "Kick In", "no match"},
	} {
		re, err := compilePattern(c.pattern)
		if err != nil {
			t.Errorf("%s: %v", c.pattern, err)
			continue
		}
		got := "no match"
		if n, ok := matchPattern(re, c.stem); ok {
			got = fmt.Sprintf("%d %s %d", n.track, n.name, n.segment)
		}
		if got != c.want {
			t.Errorf("%s on %s: got %q, want %q", c.pattern, c.stem, got, c.want)
		}
	}
	for _, bad := range []string{"{track", "{nonsense}", "{track}{track}", "no field"} {
		if _, err := compilePattern(bad); err == nil {
			t.Errorf("%q: accepted", bad)
		}
	}
}

func TestDateIn(t *testing.T) {
	for _, c := range []struct{ name, date, venue string }{
		{"2031-05-02 Some Hall", "2031-05-02", "Some Hall"},
		{"Some Hall 2031-05-02", "2031-05-02", "Some Hall"},
		{"20310502_Some-Hall", "2031-05-02", "Some Hall"},
		{"Old Mill, Tallowbridge 2031-05-03", "2031-05-03", "Old Mill, Tallowbridge"},
		{"2031_05_02", "2031-05-02", ""},
		{"2031.05.02 - Some Hall", "2031-05-02", "Some Hall"},
		{"Some Hall (2031-05-02)", "2031-05-02", "Some Hall"},
		{"02.05.2031 Some Hall", "2031-05-02", "Some Hall"},
		{"2.5.2031 Some Hall", "2031-05-02", "Some Hall"},
		{"Some Hall 23-05-2031", "2031-05-23", "Some Hall"},
		{"05-23-2031 Some Hall", "2031-05-23", "Some Hall"},
		{"02-05-2031 Some Hall", "", ""}, // could be two days
		{"2 May 2031 Some Hall", "2031-05-02", "Some Hall"},
		{"Some Hall, May 2nd 2031", "2031-05-02", "Some Hall"},
		{"2031-05-02 21-30-15 Some Hall", "2031-05-02", "Some Hall"},
		{"20310502_213015", "2031-05-02", ""},
		{"20310502_main", "2031-05-02", ""},
		{"2031-13-02 Some Hall", "", ""},
		{"2031-02-30", "", ""},
		{"Tour 2031", "", ""},
		{"12345678901", "", ""},
		{"Studio 54321", "", ""},
	} {
		date, rest, ok := dateIn(c.name)
		if string(date) != c.date || ok != (c.date != "") {
			t.Errorf("%q: date %q, want %q", c.name, date, c.date)
		}
		if ok && venueIn(rest) != c.venue {
			t.Errorf("%q: venue %q, want %q", c.name, venueIn(rest), c.venue)
		}
	}
}

func TestRigIn(t *testing.T) {
	for folder, want := range map[string]string{
		"main": "main", "Main": "main", "MAIN RIG": "main", "backup": "backup", "Back-up": "backup", "rig A": "rig a", "Rig_2": "rig 2",
		"recorder b": "rig b", "2031-05-02 backup": "backup", "Main Stage": "", "Some Hall": "", "a": "", "": "", "Backup Bar": "",
	} {
		if got := rigIn(folder); got != want {
			t.Errorf("%q: rig %q, want %q", folder, got, want)
		}
	}
}
