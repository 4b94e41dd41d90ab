package device

import (
	"fmt"
	"regexp"
	"runtime"
	"strconv"
	"sync"

	"github.com/gen2brain/malgo"
)

// clientName is what other programs of the audio system see.
const clientName = "nightreel"

// journal keeps what the library says while a device is opened: the only place
// where it tells whether samples pass through unchanged.
type journal struct {
	mu   sync.Mutex
	text []byte
}

// maxJournal bounds it: a device that fails all the time would fill it.
const maxJournal = 1 << 16

func (j *journal) add(message string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if len(j.text) < maxJournal {
		j.text = append(j.text, message...)
	}
}

func (j *journal) reset() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.text = nil
}

func (j *journal) String() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	return string(j.text)
}

var (
	passthroughLine = regexp.MustCompile(`Passthrough:\s+(YES|NO)`)
	bufferLine      = regexp.MustCompile(`Buffer Size:\s+(\d+)\*(\d+)`)
	channelsLine    = regexp.MustCompile(`Channels:\s+(\d+) -> (\d+)`)
	rateLine        = regexp.MustCompile(`Sample Rate:\s+(\d+) -> (\d+)`)
)

// said is what a journal says about an open device.
type said struct {
	passthrough      bool
	period, periods  int
	channels         int // of the device itself
	rate             int // of the device itself
	ourChannels, our int
}

func (j *journal) read() (s said, err error) {
	text := j.String()
	numbers := func(re *regexp.Regexp) (a, b int) {
		if m := re.FindStringSubmatch(text); m != nil {
			a, _ = strconv.Atoi(m[1])
			b, _ = strconv.Atoi(m[2])
		}
		return a, b
	}
	m := passthroughLine.FindStringSubmatch(text)
	if m == nil {
		return s, fmt.Errorf("the sound library did not say how it treats samples")
	}
	s.passthrough = m[1] == "YES"
	s.period, s.periods = numbers(bufferLine)
	s.ourChannels, s.channels = numbers(channelsLine)
	s.our, s.rate = numbers(rateLine)
	return s, nil
}

// newContext connects to a part of the audio system. It never starts a server.
func newContext(b backend, j *journal) (*malgo.AllocatedContext, error) {
	// The library keeps the name's address: it must neither move nor go until
	// the call is over.
	name := append([]byte(clientName), 0)
	var pin runtime.Pinner
	defer pin.Unpin()
	pin.Pin(&name[0])
	config := malgo.ContextConfig{ThreadPriority: malgo.ThreadPriorityRealtime}
	config.Jack.PClientName = &name[0]
	config.Pulse.PApplicationName = &name[0]
	var log malgo.LogProc
	if j != nil {
		log = j.add
	}
	return malgo.InitContext([]malgo.Backend{b.id}, config, log)
}

func closeContext(ctx *malgo.AllocatedContext) {
	ctx.Uninit()
	ctx.Free()
}
