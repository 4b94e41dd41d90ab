package web

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"nightreel/catalog"
	"nightreel/internal/compare"
	"nightreel/internal/envelope"
	"nightreel/internal/listen"
)

type nightView struct {
	Show         catalog.Show
	Before, Next catalog.Date // the nights around it, "" where there is none
	Songs        []catalog.Song
	Notes        []catalog.Note
	SetList      []catalog.SetListEntry
}

func (s *Server) nightPage(w http.ResponseWriter, r *http.Request) {
	date, err := pathDate(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	shows, err := s.store.Shows(r.Context(), catalog.ShowFilter{})
	if err != nil {
		s.failed(w, r, err)
		return
	}
	v := nightView{}
	for i, sh := range shows {
		if sh.Date != date {
			continue
		}
		v.Show = sh
		if i > 0 {
			v.Before = shows[i-1].Date
		}
		if i+1 < len(shows) {
			v.Next = shows[i+1].Date
		}
	}
	if v.Show.Date == "" {
		s.failed(w, r, &catalog.NotFoundError{Kind: "show", Name: string(date), Try: "the tour page lists the nights"})
		return
	}
	if v.Songs, err = s.store.Songs(r.Context()); err == nil {
		if v.Notes, err = s.store.Notes(r.Context(), date); err == nil {
			v.SetList, err = s.store.SetList(r.Context(), date)
		}
	}
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.render(w, r, http.StatusOK, "night.html", fmt.Sprintf("%s %s", date, venue(v.Show)), v)
}

// venue is what a show is called beside its date.
func venue(s catalog.Show) string {
	if s.Venue != "" {
		return s.Venue
	}
	return s.Name
}

// nightDoc is what the night page draws: times in seconds from the first frame
// of the show's reference recording.
type nightDoc struct {
	Date       catalog.Date        `json:"date"`
	LengthS    float64             `json:"length_s"`
	Recordings []catalog.Recording `json:"recordings"`
	Tracks     []trackDoc          `json:"tracks"`
	Takes      []catalog.Take      `json:"takes"`
	Flags      []flagDoc           `json:"flags"`
	Undo       string              `json:"undo"` // what undo would undo, "" for nothing
	Redo       string              `json:"redo"`
}

type trackDoc struct {
	ID        catalog.TrackID     `json:"id"`
	Recording catalog.RecordingID `json:"recording"`
	Number    int                 `json:"number"`
	Channel   string              `json:"channel"`
	Name      string              `json:"name"`
	Group     string              `json:"group"`
	GainDB    *float64            `json:"gain_db"`
	LengthS   float64             `json:"length_s"`
}

type flagDoc struct {
	catalog.FlagID `json:"id"`
	Recording      catalog.RecordingID `json:"recording"`
	Track          int                 `json:"track"`
	Kind           string              `json:"kind"`
	Severity       catalog.Severity    `json:"severity"`
	StartS         float64             `json:"start_s"` // of its recording
	EndS           float64             `json:"end_s"`
	Text           string              `json:"text"`
	Accepted       bool                `json:"accepted"`
}

func (s *Server) nightData(w http.ResponseWriter, r *http.Request) {
	date, err := pathDate(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	doc, err := s.night(r, date)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.sendJSON(w, r, doc)
}

func (s *Server) night(r *http.Request, date catalog.Date) (nightDoc, error) {
	ctx := r.Context()
	show, err := s.store.Show(ctx, date)
	if err != nil {
		return nightDoc{}, err
	}
	doc := nightDoc{Date: date, Recordings: show.Recordings, Tracks: []trackDoc{}, Flags: []flagDoc{}}
	for _, rec := range show.Recordings {
		doc.LengthS = max(doc.LengthS, rec.OffsetS+rec.Seconds(rec.Frames))
	}
	tracks, err := s.store.Tracks(ctx, catalog.TrackFilter{Show: date})
	if err != nil {
		return nightDoc{}, err
	}
	for _, t := range tracks {
		doc.Tracks = append(doc.Tracks, trackDoc{t.ID, t.RecordingID, t.Number, t.Channel, t.Name, t.Input.Group, t.Input.GainDB, float64(t.Frames) / float64(t.SampleRate)})
	}
	if doc.Takes, err = s.store.Takes(ctx, catalog.TakeFilter{Show: date}); err != nil {
		return nightDoc{}, err
	}
	flags, err := s.store.Flags(ctx, catalog.FlagFilter{Show: date})
	if err != nil {
		return nightDoc{}, err
	}
	for _, f := range flags {
		doc.Flags = append(doc.Flags, flagDoc{f.ID, f.RecordingID, f.Track, words(f.Kind), f.Severity, f.StartS(), f.EndS(), f.Text, f.Accepted})
	}
	doc.Undo, doc.Redo = s.edits.names(date)
	return doc, nil
}

// figuresData is the level figures of a night's tracks: of the whole night, or
// of one take.
func (s *Server) figuresData(w http.ResponseWriter, r *http.Request) {
	date, err := pathDate(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	if text := r.URL.Query().Get("take"); text != "" {
		id, err := number(text, "take")
		if err != nil {
			s.failed(w, r, err)
			return
		}
		levels, err := compare.Levels(r.Context(), s.store, compare.Filter{Show: date, Take: catalog.TakeID(id)})
		if err != nil {
			s.failed(w, r, err)
			return
		}
		s.sendJSON(w, r, levels)
		return
	}
	levels, err := compare.Tracks(r.Context(), s.store, date)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	s.sendJSON(w, r, levels)
}

// recordingOf returns the recording that an address names.
func (s *Server) recordingOf(r *http.Request) (catalog.Recording, error) {
	id, err := number(r.PathValue("recording"), "recording")
	if err != nil {
		return catalog.Recording{}, err
	}
	recs, err := s.store.Recordings(r.Context(), catalog.RecordingFilter{ID: catalog.RecordingID(id)})
	if err != nil {
		return catalog.Recording{}, err
	}
	if len(recs) == 0 {
		return catalog.Recording{}, &catalog.NotFoundError{Kind: "recording", Name: r.PathValue("recording"), Try: "the tour page lists the nights"}
	}
	return recs[0], nil
}

const mostColumns = 8192

// columns reads how wide a picture is to be.
func columns(r *http.Request) (int, error) {
	n, err := strconv.Atoi(r.URL.Query().Get("columns"))
	if err != nil || n < 1 || n > mostColumns {
		return 0, &badRequest{fmt.Sprintf("columns must be 1 to %d", mostColumns), ""}
	}
	return n, nil
}

// view reads the span that an address asks for, in seconds.
func view(r *http.Request) (from, to float64, err error) {
	if from, err = seconds(r.URL.Query().Get("from"), "from"); err != nil {
		return 0, 0, err
	}
	if to, err = seconds(r.URL.Query().Get("to"), "to"); err != nil {
		return 0, 0, err
	}
	if to <= from {
		return 0, 0, &badRequest{"the end of the span must come after its start", ""}
	}
	return from, to, nil
}

// stripsData is the envelope of all tracks of a recording over a span of the
// show: for each track its id, uint32 little-endian, then two bytes a column as
// [envelope.Strip] has them.
func (s *Server) stripsData(w http.ResponseWriter, r *http.Request) {
	rec, err := s.recordingOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	n, err := columns(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	from, to, err := view(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	strips, err := envelope.Strips(r.Context(), s.store, rec, rec.Frame(from-rec.OffsetS), rec.Frame(to-rec.OffsetS), n)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	for _, strip := range strips {
		w.Write(binary.LittleEndian.AppendUint32(nil, uint32(strip.Track)))
		w.Write(strip.Columns)
	}
}

// waveformData is a track's waveform over a span of its recording, in frames:
// lowest and highest sample of each column, int16 little-endian.
func (s *Server) waveformData(w http.ResponseWriter, r *http.Request) {
	track, n, err := s.trackAndColumns(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	from, to, err := view(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	rate := float64(track.SampleRate)
	extents, err := listen.Waveform(r.Context(), s.store, track.ID, int64(from*rate), int64(to*rate), n)
	if err != nil {
		s.away(w, r, err)
		return
	}
	data := make([]byte, 0, 4*len(extents))
	clip := func(v float32) uint16 { return uint16(int16(max(-1, min(1, v)) * 32767)) }
	for _, e := range extents {
		data = binary.LittleEndian.AppendUint16(data, clip(e.Low))
		data = binary.LittleEndian.AppendUint16(data, clip(e.High))
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Header().Set("Cache-Control", "no-store")
	w.Write(data)
}

func (s *Server) trackAndColumns(r *http.Request) (catalog.Track, int, error) {
	track, err := s.trackOf(r)
	if err != nil {
		return track, 0, err
	}
	n, err := columns(r)
	return track, n, err
}

// trackOf returns the track that an address names.
func (s *Server) trackOf(r *http.Request) (catalog.Track, error) {
	id, err := number(r.PathValue("track"), "track")
	if err != nil {
		return catalog.Track{}, err
	}
	tracks, err := s.store.Tracks(r.Context(), catalog.TrackFilter{ID: catalog.TrackID(id)})
	if err != nil {
		return catalog.Track{}, err
	}
	if len(tracks) == 0 {
		return catalog.Track{}, &catalog.NotFoundError{Kind: "track", Name: r.PathValue("track"), Try: "the night's page lists them"}
	}
	return tracks[0], nil
}

// listen sends one track from a place on, or a span of it, as a WAV file;
// ranges of it may be asked for (RFC 9110 §14).
func (s *Server) listen(w http.ResponseWriter, r *http.Request) {
	track, err := s.trackOf(r)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	from, to := 0.0, float64(track.Frames)/float64(track.SampleRate)
	if text := r.URL.Query().Get("from"); text != "" {
		if from, err = seconds(text, "from"); err != nil {
			s.failed(w, r, err)
			return
		}
	}
	if text := r.URL.Query().Get("to"); text != "" {
		if to, err = seconds(text, "to"); err != nil {
			s.failed(w, r, err)
			return
		}
	}
	rate := float64(track.SampleRate)
	wav, err := listen.Open(r.Context(), s.store, track.ID, int64(from*rate), int64(to*rate))
	if err != nil {
		s.failed(w, r, err)
		return
	}
	defer wav.Close()
	if err := wav.Check(); err != nil { // before the first byte, while it can be said
		s.away(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "audio/wav")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", fmt.Sprintf("%s track %d.wav", track.Show, track.Number)))
	http.ServeContent(w, r, "", s.opt.Now(), wav)
}

// away answers when a recording's file cannot be read: mostly an unplugged
// drive, which is the user's to mend and no fault of the server.
func (s *Server) away(w http.ResponseWriter, r *http.Request, err error) {
	var away *listen.AwayError
	var changed *listen.ChangedError
	var long *listen.LongError
	switch {
	case errors.As(err, &away), errors.As(err, &changed):
		s.fail(w, r, http.StatusConflict, err.Error(), hintOf(err))
	case errors.As(err, &long):
		s.fail(w, r, http.StatusBadRequest, err.Error(), hintOf(err))
	default:
		s.failed(w, r, err)
	}
}
