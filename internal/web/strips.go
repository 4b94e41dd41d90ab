package web

import (
	"encoding/binary"
	"fmt"
	"net/http"
	"strconv"

	"nightreel/catalog"
	"nightreel/internal/envelope"
	"nightreel/internal/tracks"
)

// named returns the row whose id stands in an address; list finds it.
func named[T any](r *http.Request, what, hint string, list func(id int64) ([]T, error)) (T, error) {
	var none T
	id, err := number(r.PathValue(what), what)
	if err != nil {
		return none, err
	}
	found, err := list(id)
	if err != nil {
		return none, err
	}
	if len(found) == 0 {
		return none, &catalog.NotFoundError{Kind: what, Name: r.PathValue(what), Try: hint}
	}
	return found[0], nil
}

// recordingOf returns the recording that an address names.
func (s *Server) recordingOf(r *http.Request) (catalog.Recording, error) {
	return named(r, "recording", "the tour page lists the nights", func(id int64) ([]catalog.Recording, error) {
		return s.store.Recordings(r.Context(), catalog.RecordingFilter{ID: catalog.RecordingID(id)})
	})
}

// trackOf returns the track that an address names.
func (s *Server) trackOf(r *http.Request) (catalog.Track, error) {
	return named(r, "track", "the night's page lists them", func(id int64) ([]catalog.Track, error) {
		return s.store.Tracks(r.Context(), catalog.TrackFilter{ID: catalog.TrackID(id)})
	})
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
func (s *Server) stripsData(w http.ResponseWriter, r *http.Request) error {
	rec, err := s.recordingOf(r)
	if err != nil {
		return err
	}
	n, err := columns(r)
	if err != nil {
		return err
	}
	from, to, err := view(r)
	if err != nil {
		return err
	}
	strips, err := envelope.Strips(r.Context(), s.store, rec, rec.Frame(from-rec.OffsetS), rec.Frame(to-rec.OffsetS), n)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	for _, strip := range strips {
		w.Write(binary.LittleEndian.AppendUint32(nil, uint32(strip.Track)))
		w.Write(strip.Columns)
	}
	return nil
}

// waveformData is a track's waveform over a span of its recording, in frames:
// lowest and highest sample of each column, int16 little-endian.
func (s *Server) waveformData(w http.ResponseWriter, r *http.Request) error {
	track, n, err := s.trackAndColumns(r)
	if err != nil {
		return err
	}
	from, to, err := view(r)
	if err != nil {
		return err
	}
	rate := float64(track.SampleRate)
	samples, err := tracks.Open(r.Context(), s.store, track.ID)
	if err != nil {
		return err
	}
	defer samples.Close()
	extents, err := samples.Waveform(r.Context(), int64(from*rate), int64(to*rate), n)
	if err != nil {
		return err
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
	return nil
}

func (s *Server) trackAndColumns(r *http.Request) (catalog.Track, int, error) {
	track, err := s.trackOf(r)
	if err != nil {
		return track, 0, err
	}
	n, err := columns(r)
	return track, n, err
}

// listen sends one track from a place on, or a span of it, as a WAV file;
// ranges of it may be asked for (RFC 9110 §14).
func (s *Server) listen(w http.ResponseWriter, r *http.Request) error {
	track, err := s.trackOf(r)
	if err != nil {
		return err
	}
	from, to := 0.0, float64(track.Frames)/float64(track.SampleRate)
	if text := r.URL.Query().Get("from"); text != "" {
		if from, err = seconds(text, "from"); err != nil {
			return err
		}
	}
	if text := r.URL.Query().Get("to"); text != "" {
		if to, err = seconds(text, "to"); err != nil {
			return err
		}
	}
	rate := float64(track.SampleRate)
	samples, err := tracks.Open(r.Context(), s.store, track.ID)
	if err != nil {
		return err
	}
	defer samples.Close()
	wav, err := samples.WAV(r.Context(), int64(from*rate), int64(to*rate))
	if err != nil {
		return err
	}
	if err := wav.Check(); err != nil { // before the first byte is sent, so that the error can be reported
		return err
	}
	h := w.Header()
	h.Set("Content-Type", "audio/wav")
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", fmt.Sprintf("inline; filename=%q", fmt.Sprintf("%s track %d.wav", track.Show, track.Number)))
	http.ServeContent(w, r, "", s.opt.Now(), wav)
	return nil
}
