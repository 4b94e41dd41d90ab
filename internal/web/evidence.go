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
	// Its colours follow the reader's system, which takes a style of its own.
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
		b.WriteString(evidencePath("peak", strip.Columns, 0))
		b.WriteString(evidencePath("rms", strip.Columns, 1))
	}
	b.WriteString(`</svg>`)
	w.Write([]byte(b.String()))
	return nil
}

const evidenceStyle = `.span{fill:#e8b04a;fill-opacity:.35}.rule{stroke:#8886;stroke-width:.5}.peak{fill:#9aa7b0}.rms{fill:#2b4a66}` +
	`@media (prefers-color-scheme:dark){.peak{fill:#5d6b75}.rms{fill:#a9c7e0}.span{fill-opacity:.4}}`

// evidenceY places a level, dBFS, from the top edge.
func evidenceY(db float64) float64 {
	return min(evidenceHeight, max(0, db/evidenceFloorDB*evidenceHeight))
}

// evidencePath draws one of a strip's two levels as an area.
func evidencePath(class string, columns []byte, offset int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<path class="%s" d="`, class)
	for c := 0; 2*c < len(columns); c++ {
		code := columns[2*c+offset]
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
