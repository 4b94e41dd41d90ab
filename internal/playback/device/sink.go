package device

import (
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"github.com/gen2brain/malgo"

	"nightreel/internal/playback"
)

// A device counts as lost if its callback stays away for lostPeriods of its
// periods, and at least lostLeast. The audio system reports nothing when a
// server dies or a cable is pulled. A busy machine is late by less.
const (
	lostPeriods = 10
	lostLeast   = time.Second
	watchEvery  = 50 * time.Millisecond
)

// lateFactor is the number of periods between two callbacks from which the
// second counts as late: at two the device has missed one.
const lateFactor = 1.75

// wantPeriod and wantPeriods request a generous buffer: feeding a desk from a
// recording needs no low latency. JACK and others choose their own.
const (
	wantPeriod  = 10 // ms
	wantPeriods = 4
)

// sink plays on a device.
type sink struct {
	info  playback.Opened
	ctx   *malgo.AllocatedContext
	dev   *malgo.Device
	log   *journal
	where string
	write func(dst []byte, src []float32) // nil for float32
	block []float32                       // for write

	puller  playback.Puller
	started time.Time

	calls   atomic.Int64
	last    atomic.Int64 // ns after started of the last callback
	frames  atomic.Int64 // of the last callback
	late    atomic.Int64
	longest atomic.Int64 // ns
	lost    atomic.Pointer[string]

	once sync.Once
	quit chan struct{}
	done chan struct{}
	gone chan struct{} // closed when the device is lost
}

// Open opens the device that req names, silent. Errors: *[NoDeviceError], and
// *[UnfitError] for a device with fewer outputs or another rate than asked for,
// or that would not pass samples through unchanged.
func Open(req playback.SinkRequest) (playback.Sink, error) {
	f, err := find(req.Device, list())
	if err != nil {
		return nil, err
	}
	return open(f, req)
}

// UnfitError says why a device cannot feed the desk as it is.
type UnfitError struct{ Device, Why, Help string }

func (e *UnfitError) Error() string { return fmt.Sprintf("device %s: not opened: %s", e.Device, e.Why) }

// Hint says what to do about it.
func (e *UnfitError) Hint() string { return e.Help }

func open(f found, req playback.SinkRequest) (_ *sink, err error) {
	s := &sink{log: &journal{}, quit: make(chan struct{}), done: make(chan struct{}), gone: make(chan struct{})}
	close(s.done) // nothing is running yet
	if s.ctx, err = newContext(f.backend, s.log); err != nil {
		return nil, &UnfitError{f.Name, err.Error(), "is the audio server running?"}
	}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	// Open the device as it is, to learn its properties.
	if err = s.init(f, malgo.FormatUnknown, 0, 0); err != nil {
		return nil, &UnfitError{f.Name, err.Error(), "another program may hold it, or it has more than 254 outputs"}
	}
	native, err := s.log.read()
	if err != nil {
		return nil, &UnfitError{f.Name, err.Error(), ""}
	}
	format := s.dev.PlaybackFormat()
	s.dev.Uninit()
	s.dev = nil
	switch {
	case native.channels < req.Outputs:
		return nil, &UnfitError{f.Name, fmt.Sprintf("it has %d outputs, the patch needs %d", native.channels, req.Outputs),
			"choose another with --device (nightreel devices lists them), or give the desk's patch lower output numbers"}
	case native.rate != req.Rate:
		return nil, &UnfitError{f.Name, fmt.Sprintf("it runs at %d Hz, the recording at %d Hz", native.rate, req.Rate),
			fmt.Sprintf("set the device, and the desk, to %d Hz; or convert with --rate %d --convert-rate", req.Rate, native.rate)}
	}
	if s.write, err = writer(format); err != nil {
		return nil, &UnfitError{f.Name, err.Error(), "choose another device"}
	}
	// Open it again with exactly these, so that nothing is converted.
	if err = s.init(f, format, native.channels, native.rate); err != nil {
		return nil, &UnfitError{f.Name, err.Error(), ""}
	}
	now, err := s.log.read()
	if err != nil {
		return nil, &UnfitError{f.Name, err.Error(), ""}
	}
	if !now.passthrough || now.channels != native.channels || now.ourChannels != native.channels || now.rate != native.rate || now.our != native.rate {
		return nil, &UnfitError{f.Name, "the sound library would mix, permute or resample the outputs", "choose another device; on Linux a JACK server gives every output as it is"}
	}
	s.info = playback.Opened{Device: f.Name, Rate: native.rate, Outputs: native.channels, Period: now.period}
	s.block = make([]float32, max(now.period, 1<<13)*native.channels)
	s.where = fmt.Sprintf("its outputs 1 to %d", native.channels)
	if f.backend.only {
		s.where = fmt.Sprintf("the server's playback ports 1 to %d", native.channels)
	}
	return s, nil
}

// init opens the device with a coding, channels and a rate in Hz; zeros take
// the device's own.
func (s *sink) init(f found, format malgo.FormatType, channels, rate int) error {
	s.log.reset()
	config := malgo.DefaultDeviceConfig(malgo.Playback)
	config.SampleRate = uint32(rate)
	config.PeriodSizeInMilliseconds, config.Periods = wantPeriod, wantPeriods
	config.NoClip, config.NoPreSilencedOutputBuffer, config.NoFixedSizedCallback = 1, 1, 1
	config.Alsa.NoAutoFormat, config.Alsa.NoAutoChannels, config.Alsa.NoAutoResample = 1, 1, 1
	config.Wasapi.NoAutoConvertSRC = 1
	config.Playback.Format = format
	config.Playback.Channels = uint32(channels)
	var pin runtime.Pinner
	defer pin.Unpin()
	if !f.backend.only && f.backend.id != backendNull {
		id := f.id
		pin.Pin(&id)
		config.Playback.DeviceID = unsafe.Pointer(&id)
	}
	if f.backend.id == malgo.BackendAlsa || f.backend.id == malgo.BackendWasapi {
		config.Playback.ShareMode = malgo.Exclusive // shared mode would go through the system's mixer
	}
	if channels > 0 {
		// Positions that are all "none" map one to one. By default the library
		// takes channels for loudspeakers of a room.
		none := make([]byte, channels)
		pin.Pin(&none[0])
		config.Playback.ChannelMap = unsafe.Pointer(&none[0])
	}
	dev, err := malgo.InitDevice(s.ctx.Context, config, malgo.DeviceCallbacks{Data: s.callback})
	if err == nil {
		s.dev = dev
	}
	return err
}

// Info implements [playback.Sink].
func (s *sink) Info() playback.Opened { return s.info }

// Start implements [playback.Sink].
func (s *sink) Start(p playback.Puller) error {
	s.puller, s.started = p, time.Now()
	if err := s.dev.Start(); err != nil {
		return &UnfitError{s.info.Device, "it would not start: " + err.Error(), "a JACK server that forbids clients to connect themselves (-a A) is not possible; use -a a and connect by hand"}
	}
	s.done = make(chan struct{})
	go s.watch()
	return nil
}

// callback is called by the audio system's thread. It never waits and does not
// allocate; the library around it takes an uncontended mutex.
func (s *sink) callback(out, _ []byte, count uint32) {
	begin := int64(time.Since(s.started))
	n := int(count) * s.info.Outputs
	if s.write == nil {
		s.puller.Pull(unsafe.Slice((*float32)(unsafe.Pointer(unsafe.SliceData(out))), n), s.info.Outputs)
	} else {
		size := len(out) / n
		for at := 0; at < n; {
			k := min(n-at, len(s.block))
			s.puller.Pull(s.block[:k], s.info.Outputs)
			s.write(out[at*size:], s.block[:k])
			at += k
		}
	}
	period := int64(count) * int64(time.Second) / int64(s.info.Rate)
	if s.calls.Add(1) > 1 && begin-s.last.Load() > int64(lateFactor*float64(period)) {
		s.late.Add(1)
	}
	s.last.Store(begin)
	s.frames.Store(int64(count))
	if took := int64(time.Since(s.started)) - begin; took > s.longest.Load() {
		s.longest.Store(took)
	}
}

// watch detects when the device is gone.
func (s *sink) watch() {
	defer close(s.done)
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for {
		select {
		case <-s.quit:
			return
		case <-tick.C:
		}
		silent := time.Since(s.started) - time.Duration(s.last.Load())
		period := time.Duration(s.frames.Load()) * time.Second / time.Duration(s.info.Rate)
		if silent > max(lostLeast, lostPeriods*period) {
			why := fmt.Sprintf("device %s: gone: it has asked for no audio for %.1f s", s.info.Device, silent.Seconds())
			s.lost.Store(&why)
			close(s.gone)
			return
		}
	}
}

// Stats implements [playback.Sink].
func (s *sink) Stats() playback.SinkStats {
	st := playback.SinkStats{LateBlocks: s.late.Load(), MaxCallback: time.Duration(s.longest.Load()), Connected: s.where}
	if why := s.lost.Load(); why != nil {
		st.Lost = *why
	}
	return st
}

// Close implements [playback.Sink].
func (s *sink) Close() error {
	s.once.Do(func() {
		close(s.quit)
		<-s.done
		if s.dev != nil {
			s.dev.Uninit()
		}
		closeContext(s.ctx)
	})
	return nil
}
