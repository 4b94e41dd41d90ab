package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"nightreel/catalog"
	"nightreel/internal/rounds"
)

// jobs runs what takes long: one scan, one render and one judging at a time,
// each watched by every open page.
type jobs struct {
	s      *Server
	ctx    context.Context
	cancel context.CancelFunc
	wg     sync.WaitGroup

	mu      sync.Mutex
	running map[string]context.CancelFunc // by kind
	latest  map[string]Job
	judge   []catalog.ShowKey // shows to be judged again
}

// Job is what pages are told of a job.
type Job struct {
	Kind    string   `json:"kind"`  // "scan", "render" or "judge"
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
	scanJob   = "scan"
	renderJob = "render"
	judgeJob  = "judge"
)

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

// start runs a job in the background. look is asked for its progress now and
// then; run returns the sentence that says what came of it.
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
	go func() { // tells how far it is
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
		case errors.Is(err, context.Canceled):
			last.State, last.Result = "stopped", "Stopped. What was finished is kept; start it again and it goes on from there."
		case err != nil:
			last.State, last.Result, last.Hint = "failed", err.Error(), hintOf(err)
			j.s.log.Warn("job failed", "kind", kind, "title", title, "error", err)
		}
		j.tell(last, true)
	}()
	j.s.hub.send("job", job, false)
	return nil
}

// tell makes a job's state known. What a ticker says late does not undo the
// end.
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
	if end && job.Kind == judgeJob {
		j.judgeNext()
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
	for _, kind := range []string{scanJob, renderJob, judgeJob} {
		if job, ok := j.latest[kind]; ok {
			out = append(out, job)
		}
	}
	return out
}

// rejudge has a show judged again, soon and in the background: a big night
// takes seconds, and somebody who moves boundaries moves several.
func (j *jobs) rejudge(shows ...catalog.ShowKey) {
	j.mu.Lock()
	for _, d := range shows {
		if !slices.Contains(j.judge, d) {
			j.judge = append(j.judge, d)
		}
	}
	j.mu.Unlock()
	j.judgeNext()
}

func (j *jobs) judgeNext() {
	j.mu.Lock()
	if len(j.judge) == 0 || j.running[judgeJob] != nil {
		j.mu.Unlock()
		return
	}
	show := j.judge[0]
	j.judge = j.judge[1:]
	j.mu.Unlock()
	// Where another judging was faster it goes on with the rest.
	err := j.start(judgeJob, fmt.Sprintf("judging the channels of %s", show), nil, func(ctx context.Context) (string, []string, error) {
		if err := rounds.Rejudge(ctx, j.s.store, show); err != nil {
			return "", nil, err
		}
		if err := rounds.Prepare(ctx, j.s.store, show); err != nil {
			return "", nil, err
		}
		known, err := j.s.store.Takes(ctx, catalog.TakeFilter{Show: show})
		if err != nil {
			return "", nil, err
		}
		known = slices.DeleteFunc(known, func(t catalog.Take) bool { return t.FoundBy != catalog.ByPerson })
		learned, err := rounds.Learn(ctx, j.s.store, show, append([]catalog.Take{}, known...))
		return fmt.Sprintf("The channels of %s are judged again.", show), learned, err
	})
	if err != nil && j.ctx.Err() == nil {
		j.mu.Lock()
		j.judge = append(j.judge, show)
		j.mu.Unlock()
	}
}
