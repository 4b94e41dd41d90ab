package web

import "net/http"

// routes says which address is answered by what. What is cached is a function
// of the catalog and the role alone.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	page := func(pattern string, h http.HandlerFunc) { mux.HandleFunc("GET "+pattern, s.cached(h)) }
	live := func(pattern string, h http.HandlerFunc) { mux.HandleFunc("GET "+pattern, h) }
	post := func(pattern string, h http.HandlerFunc) { mux.HandleFunc("POST "+pattern, h) }

	mux.HandleFunc("GET /assets/{hash}/{name}", s.assets)
	live("/login", s.loginPage)
	post("/login", s.login)
	post("/logout", s.logout)
	live("/events", s.events)

	page("/{$}", s.tourPage)
	page("/night/{date}", s.nightPage)
	page("/data/night/{date}", s.nightData)
	page("/data/figures/{date}", s.figuresData)
	page("/data/strips/{recording}", s.stripsData)
	live("/data/waveform/{track}", s.waveformData) // of files, which the cache does not watch
	live("/listen/{track}", s.listen)
	post("/night/{date}/takes", s.editTakes)
	post("/night/{date}/note", s.addNote)

	page("/flags", s.flagsPage)
	page("/flags/{id}/evidence.svg", s.evidence)
	post("/flags/{id}", s.editFlag)

	page("/song/{id}", s.songPage)
	page("/song/{id}/plot.svg", s.songPlot)
	page("/song/{id}/levels.csv", s.songCSV)

	page("/lists", s.listsPage)
	page("/lists/inputs.csv", s.inputsCSV)
	post("/lists/inputs", s.saveInputs)
	page("/lists/desk/{name}", s.deskPage)
	page("/lists/desk/{name}/patch.csv", s.deskCSV)
	post("/lists/desk", s.saveDesk)
	post("/lists/setlist", s.saveSetList)
	post("/lists/read", s.readList)

	page("/sessions", s.sessionsPage)
	post("/sessions", s.buildSession)
	page("/session/{id}", s.sessionPage)
	page("/session/{id}/sheet", s.sheet)
	page("/session/{id}/sheet.csv", s.sheetCSV)
	post("/session/{id}/adjust", s.adjustSession)
	post("/session/{id}/render", s.renderSession)

	s.transportRoutes(live, post)

	live("/scan", s.scanPage)
	post("/scan", s.startScan)
	live("/data/jobs", s.jobsData)
	post("/jobs/{kind}/stop", s.stopJob)

	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, "there is no page "+r.URL.Path, "the tour is at /")
	})
	return s.guard(s.authorize(mux))
}
