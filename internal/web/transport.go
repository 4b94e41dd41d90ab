package web

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"nightreel/catalog"
	"nightreel/internal/playback"
	"nightreel/internal/session"
)

type transportView struct {
	transportDoc
	Mine     bool // the one who asks holds the transport
	Sessions []catalog.Session
	Chosen   catalog.SessionID
	Cautions []session.Caution
	Rates    []int
}

func (s *Server) transportRoutes(always func(string, handler)) {
	always("GET /transport", s.transportPage)
	always("GET /data/transport", s.transportData)
	always("GET /data/devices", s.devicesData)
	always("POST /transport/open", s.openTransport)
	always("POST /transport/do", s.doTransport)
	always("POST /transport/tick", s.tickTransport)
	always("POST /transport/take", s.takeTransport)
	always("POST /transport/close", s.closeTransport)
}

const seatCookie = "nightreel-seat"

// sit tells browsers apart: by their log-in, or on a server without pass-phrases
// by a cookie of their own.
func (s *Server) sit(w http.ResponseWriter, r *http.Request) seat {
	p := whoIs(r)
	if p.key != "" {
		if p.Name == "" {
			p.Name = "somebody at " + from(r)
		}
		return seat{p.key, p.Name}
	}
	c, err := r.Cookie(seatCookie)
	if err != nil || len(c.Value) > 64 {
		c = &http.Cookie{Name: seatCookie, Value: rand.Text(), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode}
		http.SetCookie(w, c)
	}
	return seat{c.Value, "another window at " + from(r)}
}

// seatKey is the key of a seat that a browser has already, or "".
func seatKey(r *http.Request) string {
	if p := whoIs(r); p.key != "" {
		return p.key
	}
	if c, err := r.Cookie(seatCookie); err == nil {
		return c.Value
	}
	return ""
}

// from words where a request comes from.
func from(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	if ip := net.ParseIP(host); ip != nil && ip.IsLoopback() {
		return "this machine"
	}
	return host
}

func (s *Server) transportPage(w http.ResponseWriter, r *http.Request) error {
	who := s.sit(w, r)
	v := transportView{Cautions: session.Cautions(), Rates: playRates}
	var err error
	if text := r.URL.Query().Get("session"); text != "" {
		id, e := number(text, "session")
		v.Chosen, err = catalog.SessionID(id), e
	}
	if err == nil {
		v.Sessions, err = s.store.Sessions(r.Context())
	}
	if err == nil {
		if v.Chosen == 0 && len(v.Sessions) > 0 {
			v.Chosen = v.Sessions[len(v.Sessions)-1].ID
		}
		v.transportDoc, err = s.stage.doc(r.Context(), v.Chosen)
	}
	if err != nil {
		return err
	}
	v.Mine = v.Seat == who.key
	w.Header().Set("Cache-Control", "no-store")
	return s.render(w, r, http.StatusOK, "transport.html", "Transport", v)
}

func (s *Server) transportData(w http.ResponseWriter, r *http.Request) error {
	var id catalog.SessionID
	if text := r.URL.Query().Get("session"); text != "" {
		n, err := number(text, "session")
		if err != nil {
			return err
		}
		id = catalog.SessionID(n)
	}
	doc, err := s.stage.doc(r.Context(), id)
	if err != nil {
		return err
	}
	w.Header().Set("Cache-Control", "no-store")
	return s.sendJSON(w, struct {
		transportDoc
		Mine bool `json:"mine"`
	}{doc, doc.Seat == s.sit(w, r).key})
}

// devicesData lists the sound devices, for who may open one: asking an audio
// system may take seconds, and starts a process.
func (s *Server) devicesData(w http.ResponseWriter, r *http.Request) error {
	names := []string{}
	if s.opt.Devices != nil && whoIs(r).Role == Operator {
		names = s.opt.Devices(r.Context())
	}
	w.Header().Set("Cache-Control", "no-store")
	return s.sendJSON(w, names)
}

// openTransport opens a session's player, silent. Every caution is to be
// ticked.
func (s *Server) openTransport(w http.ResponseWriter, r *http.Request) error {
	id, err := number(r.FormValue("session"), "session")
	var ses catalog.Session
	if err == nil {
		ses, err = s.store.Session(r.Context(), catalog.SessionID(id))
	}
	if err == nil {
		err = ticked(r)
	}
	var opt opening
	if err == nil {
		opt, err = readOpening(r)
	}
	if err == nil {
		err = s.stage.open(context.WithoutCancel(r.Context()), ses, opt, s.sit(w, r))
	}
	var rates *playback.RateError
	if errors.As(err, &rates) { // its own hint is for the command line
		return &conflict{err.Error(), "set the device and the desk to the recording's rate, play takes of one rate in one session, or tick that recordings at another rate are converted"}
	}
	return transported(w, err)
}

// ticked refuses who has not ticked every caution, each by its name.
func ticked(r *http.Request) error {
	if c, ok := session.Unticked(r.Form["caution"]); !ok {
		text, _, _ := strings.Cut(c.Text, ":")
		return &badRequest{"not done: not every caution is ticked; missing is: " + text, "read them, see to them, tick them"}
	}
	return nil
}

// readOpening reads how a session is to be opened.
func readOpening(r *http.Request) (opening, error) {
	opt := opening{device: strings.TrimSpace(r.FormValue("device")), conv: r.FormValue("convert") != ""}
	if strings.HasPrefix(opt.device, "file:") {
		return opt, &badRequest{"a file is not played into from here", "nightreel session play --device file:PATH does it"}
	}
	if text := strings.TrimSpace(r.FormValue("rate")); text != "" {
		hz, err := strconv.Atoi(text)
		if err != nil || !slices.Contains(playRates, hz) {
			return opt, &badRequest{fmt.Sprintf("%q is no sample rate to play at", text), "44100, 48000, 88200 and 96000 Hz are"}
		}
		opt.rate = hz
	}
	return opt, nil
}

// playRates are the rates that may be chosen, Hz: those that rigs record at.
var playRates = []int{44100, 48000, 88200, 96000}

func (s *Server) doTransport(w http.ResponseWriter, r *http.Request) error {
	var c playback.Command
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	err := d.Decode(&c)
	if err != nil {
		err = &badRequest{"the command could not be read: " + err.Error(), ""}
	}
	if err == nil {
		err = s.stage.do(context.WithoutCancel(r.Context()), c, s.sit(w, r))
	}
	return transported(w, err)
}

func (s *Server) tickTransport(w http.ResponseWriter, r *http.Request) error {
	id, err := number(r.FormValue("session"), "session")
	var input int64
	if err == nil {
		input, err = number(r.FormValue("input"), "desk input")
	}
	if err == nil {
		err = s.stage.tick(r.Context(), catalog.SessionID(id), int(input), r.FormValue("back") == "true")
	}
	return transported(w, err)
}

// takeTransport hands the transport to whoever asks, and has ticked every
// caution as whoever opens it.
func (s *Server) takeTransport(w http.ResponseWriter, r *http.Request) error {
	err := ticked(r)
	if err == nil {
		err = s.stage.take(s.sit(w, r))
	}
	return transported(w, err)
}

func (s *Server) closeTransport(w http.ResponseWriter, r *http.Request) error {
	return transported(w, s.stage.shut(context.WithoutCancel(r.Context())))
}

// transported answers what came of a command.
func transported(w http.ResponseWriter, err error) error {
	if err == nil {
		w.WriteHeader(http.StatusNoContent)
	}
	return err
}
