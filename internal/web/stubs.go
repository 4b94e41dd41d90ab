package web

import "net/http"

type stage struct{}

func newStage(*Server) *stage { return &stage{} }
func (*stage) close()         {}

func (s *Server) transportPage(w http.ResponseWriter, r *http.Request) {
	s.render(w, r, http.StatusOK, "transport.html", "Transport", nil)
}

func (s *Server) transportRoutes(live, post func(string, http.HandlerFunc)) {}
