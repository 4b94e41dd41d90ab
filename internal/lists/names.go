package lists

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"nightreel/catalog"
)

// Names returns a sentence for each recording of a show whose track names differ
// from the input list in force:
//   - the recording is numbered apart, so the list does not apply;
//   - tracks with a number have the name of another channel of the list: the number
//     counts;
//   - more than a quarter of the tracks without a number have the name of no channel
//     of the list. Fewer may be a talkback microphone.
func Names(ctx context.Context, store *catalog.Store, show catalog.ShowKey) ([]string, error) {
	recordings, err := store.Recordings(ctx, catalog.RecordingFilter{Show: show})
	if err != nil {
		return nil, err
	}
	lists, err := store.InputLists(ctx)
	if err != nil {
		return nil, err
	}
	tracks, err := store.Tracks(ctx, catalog.TrackFilter{Show: show})
	if err != nil {
		return nil, err
	}
	said := []string{}
	for _, r := range recordings {
		inputs := catalog.InForce(lists, show, r.Rig)
		if len(inputs) == 0 {
			continue
		}
		if slices.ContainsFunc(tracks, func(t catalog.Track) bool { return t.RecordingID == r.ID && t.Apart }) {
			said = append(said, fmt.Sprintf("%s, rig %s: it has far fewer tracks than another rig, and other names than the input list at their numbers, so the list does not apply to it; if it has one, import it for that rig: nightreel inputs import FILE --rig %q --from %s",
				show, r.Rig, r.Rig, show))
			continue
		}
		others, unlisted, assumed := misnamed(tracks, r.ID, inputs)
		if len(others) > 0 {
			said = append(said, fmt.Sprintf("%s, rig %s: the recording and the input list differ: %s. The numbers count; if the names are right, import a list with the recorder's numbers: nightreel inputs import FILE --show %s",
				show, r.Rig, some(others, "; "), show))
		}
		if 4*len(unlisted) > assumed {
			said = append(said, fmt.Sprintf("%s, rig %s: %d of %d unnumbered tracks match no channel of the input list (%s), so they keep their own names; give the list's channels the names of the files",
				show, r.Rig, len(unlisted), assumed, some(unlisted, ", ")))
		}
	}
	return said, nil
}

// misnamed returns the tracks of a recording that have a number and the name of
// another channel of the list; those without a number whose name is no channel;
// and the number of tracks without a number.
func misnamed(tracks []catalog.Track, of catalog.RecordingID, inputs []catalog.Input) (others, unlisted []string, assumed int) {
	byName := map[string]catalog.Input{}
	for _, in := range inputs {
		byName[catalog.Key(in.Channel)] = in
	}
	for _, t := range tracks {
		if t.RecordingID != of || t.Name == "" {
			continue
		}
		if t.Assumed {
			assumed++
			if t.Input.Track == 0 {
				unlisted = append(unlisted, t.Name)
			}
			continue
		}
		if in, ok := byName[catalog.Key(t.Name)]; ok && in.Track != t.Number && !catalog.SameName(t.Name, t.Input.Channel) {
			there := "is not in the list"
			if t.Input.Channel != "" {
				there = "is " + t.Input.Channel + " in the list"
			}
			others = append(others, fmt.Sprintf("track %d, recorded as %s, %s, where %s is track %d", t.Number, t.Name, there, in.Channel, in.Track))
		}
	}
	return others, unlisted, assumed
}

// some joins the first few of many.
func some(all []string, with string) string {
	const most = 3
	if len(all) <= most+1 {
		return strings.Join(all, with)
	}
	return fmt.Sprintf("%s%sand %d more", strings.Join(all[:most], with), with, len(all)-most)
}
