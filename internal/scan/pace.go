package scan

import (
	"sync"
	"sync/atomic"
	"time"
)

// pace decides whether a recording comes from a disk with heads, which lose
// time on every seek between two files. From such a disk one reader at a time
// reads each file in long runs.
type pace struct {
	rotational bool       // what the system says; many an SSD behind USB says it too
	heads      sync.Mutex // held by who reads from a disk with heads

	mu   sync.Mutex
	read int64 // bytes since the rate was found out
	took time.Duration
	slow atomic.Bool // the latest rate is one that heads can have
}

// fastestHeads, in bytes a second, is more than a disk with heads can read:
// some 280 MB/s at its rim (common practice, no source). Faster data comes
// from memory or from a disk without heads, whatever the system reports.
const fastestHeads = 400e6

// paceOver is how many bytes must be read before their rate counts.
const paceOver = 16 << 20

// long reports whether reading has to be kind to heads now.
func (p *pace) long() bool { return p.rotational && p.slow.Load() }

// note notes how long it took to read so many bytes.
func (p *pace) note(bytes int, took time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.read += int64(bytes)
	p.took += took
	if p.read >= paceOver {
		p.slow.Store(float64(p.read) < fastestHeads*p.took.Seconds())
		p.read, p.took = 0, 0
	}
}
