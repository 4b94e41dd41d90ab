package web

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/meter"
)

type songView struct {
	Song     catalog.Song
	Measure  compare.Measure
	Measures []compare.Measure
	Channel  string
	Chosen   *compare.Channel // nil where no channel was recorded
	compare.Comparison
	Outliers []outlier // of the chosen channel
	Tone     []toneRow // of the chosen channel, by take
	Listens  []listenAt
	Plot     []byte // markup
	Table    []byte
	Query    string // of the same channel and measure, for exports
}

// outlier is a take that stands out, with possible reasons.
type outlier struct {
	Show    catalog.ShowKey
	Take    catalog.TakeID
	Delta   meter.Level
	Reasons []string
}

// compared asks for the comparison that an address names.
func (s *Server) compared(r *http.Request) (songView, error) {
	v := songView{Measure: compare.RMS, Measures: compare.Measures()}
	id, err := number(r.PathValue("id"), "song")
	if err != nil {
		return v, err
	}
	songs, err := s.store.Songs(r.Context())
	if err != nil {
		return v, err
	}
	i := slices.IndexFunc(songs, func(g catalog.Song) bool { return g.ID == catalog.SongID(id) })
	if i < 0 {
		return v, &catalog.NotFoundError{Kind: "song", Name: r.PathValue("id"), Try: "the tour page lists them"}
	}
	v.Song = songs[i]
	q := r.URL.Query()
	if m := compare.Measure(q.Get("measure")); m != "" {
		if !slices.Contains(v.Measures, m) {
			return v, &badRequest{fmt.Sprintf("%q is no measure", m), "there are rms, loudness, true_peak and crest_factor"}
		}
		v.Measure = m
	}
	if v.Comparison, err = compare.Song(r.Context(), s.store, v.Song.Title, compare.Options{Measure: v.Measure}); err != nil {
		return v, err
	}
	v.choose(q.Get("channel"))
	v.Query = url.Values{"channel": {v.Channel}, "measure": {string(v.Measure)}}.Encode()
	return v, nil
}

// choose picks the channel that the address names; else the first in which a take
// stands out; else the first.
func (v *songView) choose(channel string) {
	for i := range v.Channels {
		ch := &v.Channels[i]
		stands := slices.ContainsFunc(ch.Values, func(val compare.Value) bool { return val.Outlier })
		if catalog.SameName(ch.Channel, channel) || channel == "" && stands {
			v.Chosen = ch
			break
		}
	}
	if v.Chosen == nil && len(v.Channels) > 0 {
		v.Chosen = &v.Channels[0]
	}
	if v.Chosen == nil {
		return
	}
	v.Channel = v.Chosen.Channel
	for _, val := range v.Chosen.Values {
		if val.Outlier {
			v.Outliers = append(v.Outliers, outlier{val.Show, val.Take, val.Delta, val.Reasons})
		}
	}
}

func (s *Server) songPage(w http.ResponseWriter, r *http.Request) error {
	v, err := s.compared(r)
	if err != nil {
		return err
	}
	if v.Chosen != nil {
		v.Plot = plot(&v, false)
		v.Table = deviationTable(&v)
		if v.Tone, err = s.toneRows(r.Context(), &v); err != nil {
			return err
		}
		if v.Listens, err = s.listens(r.Context(), &v); err != nil {
			return err
		}
	}
	return s.render(w, r, http.StatusOK, "song.html", v.Song.Title, v)
}

// listenAt is where the chosen channel is listened to in one take.
type listenAt struct {
	Show  catalog.ShowKey
	Nth   int
	Track catalog.TrackID
	FromS float64 // from the first frame of the track's recording
}

// listens returns where the chosen channel is listened to, take by take, on the rig
// that was compared.
func (s *Server) listens(ctx context.Context, v *songView) ([]listenAt, error) {
	takes, err := s.store.Takes(ctx, catalog.TakeFilter{Song: v.Song.Title})
	if err != nil {
		return nil, err
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Channel: v.Channel})
	if err != nil {
		return nil, err
	}
	recordings, err := s.store.Recordings(ctx, catalog.RecordingFilter{})
	if err != nil {
		return nil, err
	}
	offset := map[catalog.RecordingID]float64{}
	rig := map[catalog.RecordingID]string{}
	for _, rec := range recordings {
		offset[rec.ID], rig[rec.ID] = rec.OffsetS, rec.Rig
	}
	all := []listenAt{}
	for _, val := range v.Chosen.Values {
		t := slices.IndexFunc(takes, func(t catalog.Take) bool { return t.ID == val.Take })
		k := slices.IndexFunc(tracks, func(k catalog.Track) bool {
			return k.Show == val.Show && k.Number == val.Track && rig[k.RecordingID] == val.Rig
		})
		if t >= 0 && k >= 0 {
			all = append(all, listenAt{val.Show, takes[t].Nth, tracks[k].ID, max(0, takes[t].StartS()-offset[tracks[k].RecordingID])})
		}
	}
	return all, nil
}

// toneRow is how a channel sounded in one take.
type toneRow struct {
	Show    catalog.ShowKey
	Take    catalog.TakeID
	Nth     int
	Octaves []meter.Level // against the channel's median, its level apart
}

// octaves name the columns of a toneRow by their mid-band frequencies.
var octaves = []string{"31.5 Hz", "63 Hz", "125 Hz", "250 Hz", "500 Hz", "1 kHz", "2 kHz", "4 kHz", "8 kHz", "16 kHz"}

// Octaves are the headings of the tone by take.
func (v songView) Octaves() []string { return octaves }

// toneRows returns the tone of the chosen channel, take by take; none where the
// nights were scanned before tone was kept.
func (s *Server) toneRows(ctx context.Context, v *songView) ([]toneRow, error) {
	c, err := compare.Tone(ctx, s.store, v.Song.Title, v.Channel)
	if err != nil || !c.HasTone() {
		return nil, err
	}
	rows := []toneRow{}
	for _, val := range c.Channels[0].Values {
		row := toneRow{Show: val.Show, Take: val.Take}
		for _, t := range c.Takes {
			if t.Take == val.Take {
				row.Nth = t.Nth
			}
		}
		for _, db := range val.Octaves() {
			row.Octaves = append(row.Octaves, meter.Level(db))
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// editSong changes a song's names. The form says what to do:
//
//	do=rename    title
//	do=alias     alias, merge: the alias is a song of its own, and the two are one
//	do=unalias   alias
func (s *Server) editSong(w http.ResponseWriter, r *http.Request) error {
	id, err := number(r.PathValue("id"), "song")
	if err != nil {
		return err
	}
	song := catalog.SongID(id)
	switch r.FormValue("do") {
	case "rename":
		err = s.store.RenameSong(r.Context(), song, r.FormValue("title"))
	case "alias":
		_, err = s.store.AddAlias(r.Context(), song, r.FormValue("alias"), r.FormValue("merge") != "")
	case "unalias":
		_, err = s.store.RemoveAlias(r.Context(), r.FormValue("alias"))
	default:
		err = &badRequest{"choose what to do with the song's names", ""}
	}
	if is[*catalog.MergeError](err) { // its own hint is for the command line
		return &conflict{err.Error(), "if the two are one song, tick that they are; removing the other name takes that back"}
	}
	if err != nil {
		return asked(err)
	}
	s.jobs.refresh()
	return s.kept(w, r, fmt.Sprintf("/song/%d", song), "The names are changed.")
}

func (s *Server) songPlot(w http.ResponseWriter, r *http.Request) error {
	v, err := s.compared(r)
	if err != nil {
		return err
	}
	if v.Chosen == nil {
		return &catalog.NotFoundError{Kind: "take of", Name: v.Song.Title}
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	w.Header().Set("Content-Disposition", attachment(fmt.Sprintf("%s, %s, %s.svg", v.Song.Title, v.Channel, words(v.Measure))))
	w.Write(plot(&v, true))
	return nil
}

func (s *Server) songCSV(w http.ResponseWriter, r *http.Request) error {
	v, err := s.compared(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := v.WriteCSV(&b); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", attachment(v.Song.Title+".csv"))
	w.Write(b.Bytes())
	return nil
}

// attachment names a file to be kept (RFC 6266, RFC 8187).
func attachment(name string) string {
	return "attachment; filename*=UTF-8''" + url.PathEscape(name)
}

// deviationTable returns channels × takes, each take against the channel's median.
// It writes the markup directly because a long tour has thousands of cells.
func deviationTable(v *songView) []byte {
	var b bytes.Buffer
	b.WriteString(`<table class="deviations"><caption class="hidden">Every channel in every take against its median, in dB</caption><thead><tr><th scope="col" class="ch">Channel</th><th scope="col">median ` + v.Measure.Unit() + `</th>`)
	column := make(map[catalog.TakeID]int, len(v.Takes))
	for i, t := range v.Takes {
		column[t.Take] = i
		fmt.Fprintf(&b, `<th scope="col"><a href="%s#take-%d">%s%s</a></th>`, escape(nightPath(t.Show)), t.Take, escape(shortDate(t.Show)), nth(t.Nth))
	}
	b.WriteString("</tr></thead><tbody>")
	for _, ch := range v.Channels {
		chosen := ""
		if ch.Channel == v.Channel {
			chosen = ` class="chosen" id="chosen"`
		}
		fmt.Fprintf(&b, `<tr%s><th scope="row" class="ch"><a href="?%s">%s</a></th><td>%s</td>`, chosen,
			escape(url.Values{"channel": {ch.Channel}, "measure": {string(v.Measure)}}.Encode()), escape(ch.Channel), decibels(v.Measure.Of(ch.Median)))
		next := 0
		for _, val := range ch.Values {
			for ; next < column[val.Take]; next++ {
				b.WriteString("<td></td>")
			}
			next++
			if val.Outlier {
				b.WriteString(`<td class="out">` + signed(val.Delta) + "!</td>")
			} else {
				b.WriteString("<td>" + signed(val.Delta) + "</td>")
			}
		}
		for ; next < len(v.Takes); next++ {
			b.WriteString("<td></td>")
		}
		b.WriteString("</tr>")
	}
	b.WriteString("</tbody></table>")
	return b.Bytes()
}

func nth(n int) string {
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(" (%d)", n)
}
