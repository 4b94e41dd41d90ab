package web

import (
	"fmt"
	"net/http"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/envelope"
)

const (
	evidenceWidth   = 360
	evidenceHeight  = 64
	evidenceAroundS = 8   // shown on either side of a finding
	evidenceFloorDB = -72 // at the bottom edge
)

// evidence draws the track's envelope around a finding.
func (s *Server) evidence(w http.ResponseWriter, r *http.Request) error {
	finding, track, err := s.findingOf(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	// A picture is a document of its own, with a style of its own: the page turns its
	// colours over in the dark.
	w.Header().Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'")
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" role="img"><title>%s</title><style>%s</style>`, evidenceWidth, evidenceHeight,
		escape(fmt.Sprintf("Level of %s around %s", track.Channel, catalog.Clock(finding.StartS()))), evidenceStyle)
	from, to := finding.StartS()-evidenceAroundS, max(finding.EndS(), finding.StartS()+0.1)+evidenceAroundS
	x := func(t float64) float64 { return (t - from) / (to - from) * evidenceWidth }
	fmt.Fprintf(&b, `<rect class="span" x="%.1f" y="0" width="%.1f" height="%d"/>`, x(finding.StartS()), max(2, x(finding.EndS())-x(finding.StartS())), evidenceHeight)
	for _, db := range []float64{-20, -40, -60} {
		fmt.Fprintf(&b, `<line class="rule" x1="0" x2="%d" y1="%.1f" y2="%.1f"/>`, evidenceWidth, evidenceY(db), evidenceY(db))
	}
	if track.ID != 0 {
		rate := float64(track.SampleRate)
		strip, err := envelope.OfTrack(r.Context(), s.store, track, int64(from*rate), int64(to*rate), evidenceWidth/2)
		if err != nil {
			return err
		}
		b.WriteString(evidenceArea(strip.Columns))
		b.WriteString(evidenceLine(strip.Columns))
	}
	b.WriteString(`</svg>`)
	w.Write([]byte(b.String()))
	return nil
}

const evidenceStyle = `.span{fill:#e8b04a;fill-opacity:.35}.rule{stroke:#8886;stroke-width:.5}.rms{fill:#8f897c}.peak{fill:none;stroke:#26241f}`

// evidenceY places a level, dBFS, from the top edge.
func evidenceY(db float64) float64 {
	return min(evidenceHeight, max(0, db/evidenceFloorDB*evidenceHeight))
}

// evidenceArea draws a strip's RMS as an area.
func evidenceArea(columns []byte) string {
	var b strings.Builder
	b.WriteString(`<path class="rms" d="`)
	for c := 0; 2*c < len(columns); c++ {
		code := columns[2*c+1]
		if code < 2 {
			continue
		}
		if y := evidenceY(float64(int(code)-255) / 2); y < evidenceHeight {
			fmt.Fprintf(&b, "M%d %dV%.1fh2V%d", 2*c, evidenceHeight, y, evidenceHeight)
		}
	}
	b.WriteString(`"/>`)
	return b.String()
}

// evidenceLine draws a strip's peak as a thin line, with gaps where nothing was
// recorded.
func evidenceLine(columns []byte) string {
	var b strings.Builder
	b.WriteString(`<path class="peak" d="`)
	command := 'M'
	for c := 0; 2*c < len(columns); c++ {
		code := columns[2*c]
		if code == 0 {
			command = 'M'
			continue
		}
		y := float64(evidenceHeight)
		if code > 1 {
			y = evidenceY(float64(int(code)-255) / 2)
		}
		fmt.Fprintf(&b, "%c%d %.1fh2", command, 2*c, y)
		command = 'L'
	}
	b.WriteString(`"/>`)
	return b.String()
}
