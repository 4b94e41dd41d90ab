package spectrum

// shifted returns a print whose sign i is sign i+lag of p.
func shifted(p *Print, lag int) Print {
	var out Print
	switch {
	case lag == 0:
		return *p
	case lag > 0:
		for w := range out {
			out[w] = p[w] >> lag
			if w+1 < len(p) {
				out[w] |= p[w+1] << (64 - lag)
			}
		}
	default:
		for w := range out {
			out[w] = p[w] << -lag
			if w > 0 {
				out[w] |= p[w-1] >> (64 + lag)
			}
		}
	}
	return out
}

// within returns a mask of the signs of a word that have a counterpart at a lag.
func within(lag, word int) uint64 {
	switch {
	case lag > 0 && word == len(Print{})-1:
		return ^uint64(0) >> lag
	case lag < 0 && word == 0:
		return ^uint64(0) << -lag
	}
	return ^uint64(0)
}
