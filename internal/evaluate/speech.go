package evaluate

import (
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
)

// speechFiles are recorded sentences, 8 kHz 16 bit mono, from Debian's
// asterisk-core-sounds-en-wav.
var speechFiles = "/usr/share/asterisk/sounds/en_US_f_Allison/*.wav"

// speechOf analyses the spoken phrases of a half: files alternate between the
// halves.
func speechOf(half Half) ([]stem, error) {
	paths, _ := filepath.Glob(speechFiles)
	if len(paths) < 100 {
		return nil, fmt.Errorf("%d recordings in %s: install Debian's package asterisk-core-sounds-en-wav", len(paths), speechFiles)
	}
	const rate = 8000
	a := newAnalyser(rate)
	var all []stem
	for i, path := range paths {
		if i%8 != 4*int(half) { // a few dozen suffice
			continue
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, err
		}
		const header = 44
		if len(data) < header+2*rate {
			continue
		}
		x := make([]float64, (len(data)-header)/2)
		for k := range x {
			x[k] = float64(int16(binary.LittleEndian.Uint16(data[header+2*k:]))) / 32768
		}
		s := a.stem(x)
		s.Source = voice
		all = append(all, s)
	}
	return all, nil
}
