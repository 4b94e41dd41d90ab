package scan

import "sync/atomic"

// Progress tells how far a scan or a verification is. It may be read from any
// goroutine while the work goes on; the zero value is ready to use.
type Progress struct {
	name              atomic.Pointer[string]
	current           atomic.Pointer[string]
	files, filesTotal atomic.Int64
	bytes, bytesTotal atomic.Int64
}

// Snapshot is a Progress at one moment.
type Snapshot struct {
	Stage             string // what is being done, for a screen
	Files, FilesTotal int
	Bytes, BytesTotal int64
	Current           string // the file being read
}

// Snapshot returns where the work is now.
func (p *Progress) Snapshot() Snapshot {
	s := Snapshot{
		Files: int(p.files.Load()), FilesTotal: int(p.filesTotal.Load()),
		Bytes: p.bytes.Load(), BytesTotal: p.bytesTotal.Load(),
	}
	if name := p.name.Load(); name != nil {
		s.Stage = *name
	}
	if file := p.current.Load(); file != nil {
		s.Current = *file
	}
	return s
}

func (p *Progress) stage(name string) { p.name.Store(&name) }

func (p *Progress) reading(file string) { p.current.Store(&file) }
