package web

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/compare"
)

// The plot of a song along the tour: takes from left to right, the deviation
// from the channel's median upwards.
const (
	plotWidth, plotHeight = 1200, 380
	plotLeft, plotRight   = 58, 16
	plotTop, plotBottom   = 34, 54
	leastPlotDB           = 6  // above and below the median
	mostPlotDB            = 30 // what lies beyond is drawn at the edge
	plotLabels            = 24 // dates that fit below
)

// plotStyle is the look of a plot that stands alone; on a page its classes are
// those of app.css.
const plotStyle = `text{font:13px system-ui,"DejaVu Sans",sans-serif;fill:#1c1a16}.bg{fill:#fdfbf4}.soft{fill:#5b5548}.rule{stroke:#d3ccba}.zero{stroke:#8b8370;stroke-width:1.5}` +
	`.other{fill:none;stroke:#8b8370;stroke-opacity:.22}.line{fill:none;stroke:#1b4c78;stroke-width:2}.dot{fill:#1b4c78}.out{fill:#a32c06}.note{stroke:#8a5200;stroke-dasharray:4 3}.noted{fill:#8a5200}`

type plotter struct {
	bytes.Buffer
	takes map[catalog.TakeID]int
	n     int
	bound float64
}

func (p *plotter) x(take int) float64 {
	return plotLeft + (float64(take)+0.5)*(plotWidth-plotLeft-plotRight)/float64(p.n)
}

func (p *plotter) y(db float64) float64 {
	db = min(p.bound, max(-p.bound, db))
	return plotTop + (p.bound-db)/(2*p.bound)*(plotHeight-plotTop-plotBottom)
}

// plot draws the chosen channel, the others faintly behind it, and the notes
// where they fall.
func plot(v *songView, alone bool) []byte {
	p := plotter{takes: map[catalog.TakeID]int{}, n: len(v.Takes), bound: leastPlotDB}
	for i, t := range v.Takes {
		p.takes[t.Take] = i
	}
	for _, val := range v.Chosen.Values {
		if d := math.Abs(float64(val.Delta)); !math.IsNaN(d) && !math.IsInf(d, 0) {
			p.bound = max(p.bound, min(mostPlotDB, math.Ceil(d/3)*3))
		}
	}
	title := fmt.Sprintf("%s, %s: %s against its median of %s %s, %d takes", v.Song.Title, v.Channel, words(v.Measure), decibels(v.Measure.Of(v.Chosen.Median)), v.Measure.Unit(), p.n)
	fmt.Fprintf(&p, `<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 %d %d" role="img" aria-label="%s">`, plotWidth, plotHeight, escape(title))
	if alone {
		fmt.Fprintf(&p, `<title>%s</title><style>%s</style>`, escape(title), plotStyle)
	}
	fmt.Fprintf(&p, `<rect class="bg" width="%d" height="%d"/>`, plotWidth, plotHeight)
	fmt.Fprintf(&p, `<text x="%d" y="20">%s</text>`, plotLeft, escape(title))
	p.axes(v)
	for i := range v.Channels {
		if ch := &v.Channels[i]; ch != v.Chosen {
			p.curve("other", ch.Values)
		}
	}
	p.notes(v)
	p.curve("line", v.Chosen.Values)
	for _, val := range v.Chosen.Values {
		p.dot(val)
	}
	p.WriteString("</svg>")
	return p.Bytes()
}

func (p *plotter) axes(v *songView) {
	step := 3.0
	if p.bound > 12 {
		step = 6
	}
	for db := -math.Floor(p.bound/step) * step; db <= p.bound; db += step {
		class := "rule"
		if db == 0 {
			class = "zero"
		}
		fmt.Fprintf(p, `<line class="%s" x1="%d" x2="%d" y1="%.1f" y2="%.1f"/>`, class, plotLeft, plotWidth-plotRight, p.y(db), p.y(db))
		fmt.Fprintf(p, `<text class="soft" text-anchor="end" x="%d" y="%.1f">%s</text>`, plotLeft-6, p.y(db)+4, axisLabel(db))
	}
	every := (p.n + plotLabels - 1) / plotLabels
	for i, t := range v.Takes {
		if i%every == 0 {
			fmt.Fprintf(p, `<text class="soft" text-anchor="middle" x="%.1f" y="%d">%s%s</text>`, p.x(i), plotHeight-plotBottom+18, escape(shortDate(t.Show)), nth(t.Nth))
		}
	}
}

// axisLabel writes a deviation at the left edge.
func axisLabel(db float64) string {
	if db == 0 {
		return "median"
	}
	return strings.Replace(fmt.Sprintf("%+g dB", db), "-", "−", 1)
}

// curve joins the takes of a channel; where it was silent or not recorded the
// curve has a gap.
func (p *plotter) curve(class string, values []compare.Value) {
	fmt.Fprintf(p, `<path class="%s" d="`, class)
	last := -2
	for _, val := range values {
		d, i := float64(val.Delta), p.takes[val.Take]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			continue
		}
		command := 'M'
		if last == i-1 {
			command = 'L'
		}
		fmt.Fprintf(p, "%c%.1f %.1f", command, p.x(i), p.y(d))
		last = i
	}
	p.WriteString(`"/>`)
}

// dot marks a take: a circle, a triangle where it stands out, a cross at the
// bottom where the channel was silent, an arrow with the value beyond the scale.
func (p *plotter) dot(val compare.Value) {
	x, d := p.x(p.takes[val.Take]), float64(val.Delta)
	if math.IsNaN(d) {
		return
	}
	y := p.y(d)
	fmt.Fprintf(p, `<g><title>%s: %s dB%s</title>`, escape(string(val.Show)), signed(val.Delta), escape(because(val.Reasons)))
	switch {
	case math.IsInf(d, 0):
		fmt.Fprintf(p, `<text class="out" text-anchor="middle" x="%.1f" y="%.1f">✕</text>`, x, y)
	case math.Abs(d) > p.bound:
		arrow := "⇑"
		if d < 0 {
			arrow = "⇓"
		}
		fmt.Fprintf(p, `<text class="out" text-anchor="middle" x="%.1f" y="%.1f">%s %s</text>`, x, y+5, arrow, signed(val.Delta))
	case val.Outlier:
		fmt.Fprintf(p, `<path class="out" d="M%.1f %.1fl7 12h-14z"/>`, x, y-7)
	default:
		fmt.Fprintf(p, `<circle class="dot" cx="%.1f" cy="%.1f" r="4"/>`, x, y)
	}
	p.WriteString("</g>")
}

func because(reasons []string) string {
	if len(reasons) == 0 {
		return ""
	}
	return " (" + strings.Join(reasons, "; ") + ")"
}

// notes are dashed lines before the first take from their show on.
func (p *plotter) notes(v *songView) {
	for i, n := range v.Notes {
		at := slices.IndexFunc(v.Takes, func(t compare.TakeSpan) bool { return t.Show >= n.Show })
		if at < 0 {
			continue
		}
		x := p.x(at) - (p.x(1)-p.x(0))/2
		fmt.Fprintf(p, `<g><title>%s: %s</title><line class="note" x1="%.1f" x2="%.1f" y1="%d" y2="%d"/>`, escape(string(n.Show)), escape(n.Text), x, x, plotTop, plotHeight-plotBottom)
		fmt.Fprintf(p, `<text class="noted" x="%.1f" y="%d">%s</text></g>`, x+3, plotHeight-plotBottom+34+i%2*14, escape(short(n.Text, 28)))
	}
}

// short cuts a text for a narrow place.
func short(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return text
}
