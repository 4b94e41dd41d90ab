package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"nightreel/catalog"
	"nightreel/internal/refresh"
)

// jobs runs long work in the background: at most one of each kind at a time. Every open page follows them.
type jobs struct {
	s      *Server
	ctx    context.Context
	cancel context.CancelFunc
	wg     sync.WaitGroup

	mu      sync.Mutex
	running map[string]context.CancelFunc // by kind
	latest  map[string]Job
	first   []catalog.ShowKey // shows that the next refresh brings up to date before others
	stale   bool              // another refresh is due

	turns atomic.Int64 // how often a job began or ended that works results out
}

// Job is the state of a job as pages get it.
type Job struct {
	Kind    string   `json:"kind"`  // see the constants below
	State   string   `json:"state"` // "running", "done", "failed" or "stopped"
	Title   string   `json:"title"`
	Stage   string   `json:"stage"`   // what is being done
	Done    int64    `json:"done"`    // bytes, or shows
	Total   int64    `json:"total"`   // 0 while it is not known
	Current string   `json:"current"` // file or take
	Seconds float64  `json:"seconds"` // since it began
	Result  string   `json:"result"`  // one sentence, once it ended
	Hint    string   `json:"hint"`
	Lines   []string `json:"lines"` // problems and warnings
}

// The kinds of jobs.
const (
	scanJob    = "scan"
	renderJob  = "render"
	refreshJob = "refresh"
	verifyJob  = "verify"
	lineJob    = "linecheck"
)

// titlesDone is how a job's title begins once the job is done.
var titlesDone = strings.NewReplacer("Scanning ", "Scanned ", "Rendering ", "Rendered ", "Verifying ", "Verified ", "Checking ", "Checked ", "Bringing songs and findings up to date", "Songs and findings are up to date")

const progressTick = 300 * time.Millisecond

// busyError says that a job of that kind is running.
type busyError struct{ title string }

func (e *busyError) Error() string { return "not started: " + e.title + " is still running" }
func (e *busyError) Hint() string  { return "wait for it, or stop it" }

func newJobs(ctx context.Context, s *Server) *jobs {
	ctx, cancel := context.WithCancel(ctx)
	return &jobs{s: s, ctx: ctx, cancel: cancel, running: map[string]context.CancelFunc{}, latest: map[string]Job{}}
}

// stop interrupts what runs and waits for it.
func (j *jobs) stop() {
	j.mu.Lock() // nothing starts between the two
	j.cancel()
	j.mu.Unlock()
	j.wg.Wait()
}

// start runs a job in the background. look, if not nil, fills in
// the progress every progressTick; run returns a sentence with the result, and
// lines with problems and warnings.
func (j *jobs) start(kind, title string, look func(*Job), run func(ctx context.Context) (string, []string, error)) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.running[kind] != nil {
		return &busyError{j.latest[kind].Title}
	}
	if j.ctx.Err() != nil {
		return j.ctx.Err()
	}
	ctx, cancel := context.WithCancel(j.ctx)
	j.running[kind] = cancel
	job := Job{Kind: kind, State: "running", Title: title, Lines: []string{}}
	j.latest[kind] = job
	began := j.s.opt.Now()
	j.wg.Add(1)
	ended := make(chan struct{})
	go func() { // reports the progress
		tick := time.NewTicker(progressTick)
		defer tick.Stop()
		for {
			select {
			case <-ended:
				return
			case <-tick.C:
				now := job
				now.Seconds = j.s.opt.Now().Sub(began).Seconds()
				if look != nil {
					look(&now)
				}
				j.tell(now, false)
			}
		}
	}()
	go func() {
		defer j.wg.Done()
		defer cancel()
		result, lines, err := run(ctx)
		close(ended)
		last := job
		last.Seconds, last.Result, last.State = j.s.opt.Now().Sub(began).Seconds(), result, "done"
		last.Lines = append([]string{}, lines...)
		switch {
		case err == nil:
			last.Title = titlesDone.Replace(title)
		case errors.Is(err, context.Canceled):
			last.Title += ": stopped"
			last.State, last.Result = "stopped", "Stopped. What was finished is kept; start it again and it goes on from there."
		default:
			last.Title += ": failed"
			last.State, last.Result, last.Hint = "failed", err.Error(), hintOf(err)
			j.s.log.Warn("job failed", "kind", kind, "title", title, "error", err)
		}
		j.tell(last, true)
	}()
	j.s.hub.send("job", job, false)
	j.turn(kind)
	return nil
}

// turn says that a job began or ended whose results pages show.
func (j *jobs) turn(kind string) {
	if kind != renderJob {
		j.s.hub.send("changed", map[string]int64{"turn": j.turns.Add(1)}, false)
	}
}

// working reports whether results are being worked out. A scan does so at its end.
func (j *jobs) working() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.running[refreshJob] != nil || j.running[scanJob] != nil
}

// tell stores a job's state and sends it to all pages. After the end, a late tick
// changes nothing.
func (j *jobs) tell(job Job, end bool) {
	j.mu.Lock()
	if j.latest[job.Kind].State != "running" {
		j.mu.Unlock()
		return
	}
	j.latest[job.Kind] = job
	if end {
		delete(j.running, job.Kind)
	}
	j.mu.Unlock()
	j.s.hub.send("job", job, false)
	if end {
		j.turn(job.Kind)
	}
	if end && job.Kind == refreshJob {
		j.refreshNext()
	}
}

// interrupt stops a job; false where none runs.
func (j *jobs) interrupt(kind string) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	cancel := j.running[kind]
	if cancel == nil {
		return false
	}
	cancel()
	return true
}

// all returns the latest job of each kind.
func (j *jobs) all() []Job {
	j.mu.Lock()
	defer j.mu.Unlock()
	out := []Job{}
	for _, kind := range []string{scanJob, verifyJob, lineJob, renderJob, refreshJob} {
		if job, ok := j.latest[kind]; ok {
			out = append(out, job)
		}
	}
	return out
}

// refresh brings results up to date in the background, those of the given shows
// first. Calls that come while a refresh runs are answered by one more: a large
// night takes seconds, and a person who moves boundaries moves several.
func (j *jobs) refresh(first ...catalog.ShowKey) {
	j.mu.Lock()
	for _, show := range first {
		if !slices.Contains(j.first, show) {
			j.first = append(j.first, show)
		}
	}
	j.stale = true
	j.mu.Unlock()
	j.refreshNext()
}

func (j *jobs) refreshNext() {
	j.mu.Lock()
	if !j.stale || j.running[refreshJob] != nil || j.ctx.Err() != nil {
		j.mu.Unlock()
		return
	}
	first := j.first
	j.first, j.stale = nil, false
	j.mu.Unlock()
	title := "Bringing songs and findings up to date"
	if len(first) > 0 {
		title += ", " + string(first[0]) + " first"
	}
	var p refresh.Progress
	look := func(job *Job) { job.Stage = p.Doing() }
	// If another caller started a refresh meanwhile, this one follows it.
	if err := j.start(refreshJob, title, look, func(ctx context.Context) (string, []string, error) {
		report, err := refresh.Tour(ctx, j.s.store, refresh.Options{First: first, Progress: &p})
		if err != nil {
			return "", report.Learned, err
		}
		warnings, err := refresh.Warnings(ctx, j.s.store, first)
		return fmt.Sprintf("%s placed, %s judged.", count(len(report.Placed), "show"), count(len(report.Judged), "show")), append(warnings, report.Learned...), err
	}); err != nil {
		j.mu.Lock()
		j.first, j.stale = append(j.first, first...), true
		j.mu.Unlock()
	}
}
