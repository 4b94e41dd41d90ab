package web

import "context"

// HoldRefresh runs a refresh that computes nothing until release is called.
func (s *Server) HoldRefresh() (release func(), err error) {
	wait := make(chan struct{})
	err = s.jobs.start(refreshJob, "Held by a test", nil, func(ctx context.Context) (string, []string, error) {
		select {
		case <-wait:
		case <-ctx.Done():
		}
		return "", nil, ctx.Err()
	})
	return func() { close(wait) }, err
}
