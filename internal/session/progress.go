package session

import "sync/atomic"

// Progress lets another goroutine follow a [Render]. The zero value is ready; it
// serves one Render.
type Progress struct {
	item, items, bytes, bytesTotal atomic.Int64
	current                        atomic.Pointer[string]
}

// Snapshot is the progress of a job at one moment.
type Snapshot struct {
	Item       int    // item being rendered, from 1; 0 before the first
	Items      int    // in the session
	Bytes      int64  // of audio written so far
	BytesTotal int64  // to be written; files that are already there do not count
	Current    string // song and date
}

// Snapshot returns the present state.
func (p *Progress) Snapshot() Snapshot {
	s := Snapshot{Item: int(p.item.Load()), Items: int(p.items.Load()), Bytes: p.bytes.Load(), BytesTotal: p.bytesTotal.Load()}
	if c := p.current.Load(); c != nil {
		s.Current = *c
	}
	return s
}

func (p *Progress) begin(items int, bytes int64) {
	p.items.Store(int64(items))
	p.bytesTotal.Store(bytes)
}

func (p *Progress) enter(item int, title string) {
	p.item.Store(int64(item))
	p.current.Store(&title)
}
