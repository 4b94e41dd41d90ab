package web

import (
	"net/http"

	"nightreel/catalog"
)

// routes lists what answers each address. A page is a function of the catalog, its
// address and the role alone, and is kept until something that it is made of
// changes; an answer that depends on more is live.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	page := func(pattern string, h handler, of version) {
		mux.HandleFunc("GET "+pattern, s.handle(s.intact(s.cached(s.handle(h), of))))
	}
	live := func(pattern string, h handler) { mux.HandleFunc("GET "+pattern, s.handle(s.intact(h))) }
	// always is for what answers without a catalog too: whoever hears too much
	// fades out.
	always := func(pattern string, h handler) {
		mux.HandleFunc(pattern, s.handle(func(w http.ResponseWriter, r *http.Request) error {
			return h(w, r.WithContext(catalog.WithStep(r.Context()))) // what one click writes belongs together
		}))
	}
	post := func(pattern string, h handler) { always("POST "+pattern, s.intact(h)) }
	const (
		shows, lists, songs, desks, sessions = catalog.AboutShows, catalog.AboutLists, catalog.AboutSongs, catalog.AboutDesks, catalog.AboutSessions
		recordings, files, parts, measured   = catalog.AboutRecordings, catalog.AboutFiles, catalog.AboutParts, catalog.AboutMeasured
		takes, findings, notes               = catalog.AboutTakes, catalog.AboutFindings, catalog.AboutNotes
	)

	mux.HandleFunc("GET /assets/{hash}/{name}", s.assets)
	always("GET /login", s.loginPage)
	always("POST /login", s.login)
	always("POST /logout", s.logout)
	always("GET /events", s.events)

	page("/{$}", s.tourPage, s.judged(of(shows, recordings, files, parts, takes, findings, songs)))
	page("/night/{date}", s.nightPage, s.judged(s.ofNight(s.nightInPath, recordings, files, parts, takes, findings, notes)))
	page("/night/{date}/edit", s.showPage, of(shows, recordings, files))
	post("/night/{date}/edit", s.editShow)
	page("/data/night/{date}", s.nightData, s.ofNight(s.nightInPath, recordings, files, takes, findings))
	page("/data/figures/{date}", s.figuresData, s.ofNight(s.nightInPath, recordings, parts, takes))
	page("/data/strips/{recording}", s.stripsData, s.ofNight(s.nightOfRecording, recordings, parts))
	live("/data/waveform/{track}", s.waveformData) // of files, which the cache does not watch
	live("/listen/{track}", s.listen)
	post("/night/{date}/takes", s.editTakes)
	post("/night/{date}/note", s.addNote)

	page("/findings", s.findingsPage, s.judged(of(shows, recordings, files, parts, lists, findings)))
	page("/findings/{id}/evidence.svg", s.evidence, s.ofNight(s.nightOfFinding, recordings, parts, findings))
	post("/findings/{id}", s.editFinding)
	post("/findings", s.acceptFindings)

	song := of(shows, recordings, measured, lists, songs, takes, notes)
	page("/song/{id}", s.songPage, song)
	post("/song/{id}", s.editSong)
	page("/song/{id}/plot.svg", s.songPlot, song)
	page("/song/{id}/levels.csv", s.songCSV, song)

	listing := of(shows, recordings, lists, desks, songs, takes)
	page("/lists", s.listsPage, listing)
	page("/lists/inputs.csv", s.inputsCSV, listing)
	page("/lists/desk/{name}", s.deskPage, listing)
	page("/lists/desk/{name}/patch.csv", s.deskCSV, of(desks))
	post("/lists/inputs", s.saveInputs)
	post("/lists/desk", s.saveDesk)
	post("/lists/setlist", s.saveSetList)
	post("/lists/read", s.readList)

	page("/sessions", s.sessionsPage, s.judged(of(shows, recordings, files, parts, lists, desks, songs, takes, sessions)))
	page("/session/{id}", s.sessionPage, of(sessions))
	page("/session/{id}/sheet", s.sheet, of(sessions, shows))
	page("/session/{id}/sheet.csv", s.sheetCSV, of(sessions, shows))
	post("/sessions", s.buildSession)
	post("/session/{id}/adjust", s.adjustSession)
	post("/session/{id}/render", s.renderSession)

	s.transportRoutes(always)

	live("/scan", s.scanPage)
	post("/scan", s.startScan)
	post("/verify", s.verify)
	post("/verify/accept", s.acceptFile)
	post("/relocate", s.relocate)
	live("/linecheck", s.linePage)
	post("/linecheck", s.checkLine)
	live("/data/jobs", s.jobsData)
	post("/jobs/{kind}/stop", s.stopJob)

	mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusNotFound, "there is no page "+r.URL.Path, "the tour page is at /")
	})
	return s.guard(s.authorize(s.formed(mux)))
}

// intact lets h answer as long as the catalog's file is the one that was opened:
// else a page would show, and an edit change, what is lost when the server ends.
func (s *Server) intact(h handler) handler {
	return func(w http.ResponseWriter, r *http.Request) error {
		if err := s.store.Intact(); err != nil {
			return err
		}
		return h(w, r)
	}
}
