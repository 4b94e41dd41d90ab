package web

import (
	"net/http"

	"nightreel/catalog"
	"nightreel/internal/overview"
)

type tourView struct {
	overview.Glance
	Last  catalog.Date // the last night's
	Open  int          // findings
	Takes int
}

func (s *Server) tourPage(w http.ResponseWriter, r *http.Request) {
	glance, err := overview.Tour(r.Context(), s.store)
	if err != nil {
		s.failed(w, r, err)
		return
	}
	v := tourView{Glance: glance}
	for _, n := range glance.Nights {
		v.Last, v.Open, v.Takes = n.Date, v.Open+n.Flags, v.Takes+n.Takes
	}
	s.render(w, r, http.StatusOK, "tour.html", "Tour", v)
}
