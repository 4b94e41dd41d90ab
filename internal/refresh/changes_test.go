package refresh

import (
	"testing"

	"nightreel/catalog"
)

func TestChangesNameSongAndPlaceAndCutALongList(t *testing.T) {
	take := func(id catalog.TakeID, song string, minute int64, sure float64) catalog.Take {
		return catalog.Take{ID: id, Song: song, StartFrame: minute * 60 * 48000, EndFrame: (minute + 3) * 60 * 48000, SampleRate: 48000, Confidence: sure}
	}
	many := func(from catalog.TakeID) (all []catalog.Take) {
		for i := range catalog.TakeID(7) {
			all = append(all, take(from+i, "Song", int64(i), 0.5))
		}
		return all
	}
	for _, c := range []struct {
		before, after []catalog.Take
		want          string
	}{
		{[]catalog.Take{take(1, "Marrow Lane", 5, 0.4), take(2, "2031-05-03 song 2", 10, 0.4)}, []catalog.Take{take(2, "Slow Weather", 10, 0.8), take(3, "Ninety Doors", 65, 0.8)},
			"1 new (Ninety Doors at 1:05:00), 1 changed (Slow Weather at 0:10:00, before 2031-05-03 song 2), 1 gone (Marrow Lane at 0:05:00)"},
		{[]catalog.Take{take(1, "Marrow Lane", 5, 0.4), take(2, "Slow Weather", 9, 0.4)}, []catalog.Take{take(1, "Marrow Lane", 6, 0.4), take(2, "Slow Weather", 9, 0.75)},
			"2 changed (Marrow Lane at 0:06:00, was at 0:05:00; Slow Weather at 0:09:00, 75 % sure, was 40 %)"},
		{many(1), nil, "7 gone (Song at 0:00:00; Song at 0:01:00; Song at 0:02:00; Song at 0:03:00; Song at 0:04:00; and 2 more)"},
	} {
		if got := changes(c.before, c.after); got != c.want {
			t.Errorf("%s\nwant %s", got, c.want)
		}
	}
}
