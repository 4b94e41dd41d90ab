package device

import (
	"fmt"
	"regexp"
	"runtime"
	"strconv"
	"sync"

	"github.com/gen2brain/malgo"
)

// clientName is our name in the audio system.
const clientName = "nightreel"

// journal keeps the library's log while a device is opened: only the log shows
// whether samples pass through unchanged.
type journal struct {
	mu   sync.Mutex
	text []byte
}

// maxJournal bounds the journal: a device that keeps failing would fill it.
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

// said is what the journal shows about an open device.
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
		return s, fmt.Errorf("the sound library did not report how it treats samples")
	}
	s.passthrough = m[1] == "YES"
	s.period, s.periods = numbers(bufferLine)
	s.ourChannels, s.channels = numbers(channelsLine)
	s.our, s.rate = numbers(rateLine)
	return s, nil
}

// newContext connects to a backend. It never starts a server.
func newContext(b backend, j *journal) (*malgo.AllocatedContext, error) {
	// The library keeps the name's address: the memory must stay in place until
	// the call returns.
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
