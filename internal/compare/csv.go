package compare

import (
	"io"
	"math"
	"strconv"
	"strings"

	"nightreel/internal/csvfile"
	"nightreel/internal/meter"
)

// figureColumns are the figures of a CSV line, named as their JSON fields.
const figureColumns = "sample_peak_dbfs,true_peak_dbtp,rms_dbfs,loudness_lufs,max_momentary_lufs,max_short_term_lufs,loudness_range_lu,crest_factor_db,dc_offset,clipped_samples"

// WriteLevelsCSV writes takes' levels as comma-separated values, beginning with
// a heading: take, show, song, nth, channel, rig, track, start_s, end_s and the
// figures under the names of their JSON fields. Silence is "-inf"; a figure that
// was not measured is empty.
func WriteLevelsCSV(w io.Writer, levels []TakeLevel) error {
	out := csvfile.NewWriter(w)
	if err := out.Write(strings.Split("take,show,song,nth,channel,rig,track,start_s,end_s,"+figureColumns, ",")); err != nil {
		return err
	}
	for _, l := range levels {
		row := []string{strconv.FormatInt(int64(l.Take), 10), string(l.Show), l.Song, strconv.Itoa(l.Nth), l.Channel, l.Rig, strconv.Itoa(l.Track), seconds(l.StartS), seconds(l.EndS)}
		if err := out.Write(append(row, figureFields(l.Figures)...)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// WriteCSV writes the comparison as comma-separated values: a heading, then a
// line for each channel and take. The columns are song, channel, show, take,
// rig, track, the figures, median_rms_dbfs, delta_db, change_db, outlier,
// reasons (separated by "; "), gain_db, gain_change_db. As in [WriteLevelsCSV]
// silence is "-inf", and a figure that was not measured is empty.
func (c Comparison) WriteCSV(w io.Writer) error {
	out := csvfile.NewWriter(w)
	if err := out.Write(strings.Split("song,channel,show,take,rig,track,"+figureColumns+",median_rms_dbfs,delta_db,change_db,outlier,reasons,gain_db,gain_change_db", ",")); err != nil {
		return err
	}
	for _, ch := range c.Channels {
		for _, v := range ch.Values {
			row := []string{c.Song, ch.Channel, string(v.Show), strconv.FormatInt(int64(v.Take), 10), v.Rig, strconv.Itoa(v.Track)}
			row = append(row, figureFields(v.Figures)...)
			row = append(row, level(ch.Median.RMS), level(v.Delta), level(v.Change), strconv.FormatBool(v.Outlier), strings.Join(v.Reasons, "; "), optional(v.GainDB), optional(v.GainChangeDB))
			if err := out.Write(row); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}

func figureFields(f meter.Figures) []string {
	return []string{
		level(f.SamplePeak), level(f.TruePeak), level(f.RMS), level(f.Loudness), level(f.MaxMomentary), level(f.MaxShortTerm), level(f.LoudnessRange), level(f.CrestFactor),
		strconv.FormatFloat(f.DCOffset, 'g', 6, 64), strconv.FormatInt(f.ClippedSamples, 10),
	}
}

// level writes a level with as many decimals as JSON has.
func level(l meter.Level) string {
	switch {
	case l.IsZero():
		return ""
	case l.IsSilence():
		return "-inf"
	}
	return number(float64(l), 1e4)
}

func seconds(s float64) string { return number(s, 1e6) }

func optional(db *float64) string {
	if db == nil {
		return ""
	}
	return number(*db, 1e4)
}

// number rounds to a number of decimals, given as a power of ten.
func number(v, scale float64) string {
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64) // +0: not -0
}
