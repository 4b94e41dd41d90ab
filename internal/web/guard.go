package web

import (
	"errors"
	"net"
	"net/http"
	"net/netip"
	"os"
	"strings"
)

// policy is the content security policy of every page: scripts, styles, images
// and sound from here, nothing inline, no frames, no forms to anywhere else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; media-src 'self'; connect-src 'self'; " +
	"manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// guard lets a request pass only when it was meant for this server by a page of
// this server, and bounds it.
func (s *Server) guard(next http.Handler) http.Handler {
	crossOrigin := http.NewCrossOriginProtection() // by Sec-Fetch-Site, else Origin against Host; every request that may change something
	crossOrigin.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, http.StatusForbidden, "refused: a page of another site sent this", "open nightreel's own page and do it there; if this was its own page, reload it, or update the browser")
	}))
	inner := crossOrigin.Handler(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		// Not "no-referrer": with it a form is sent with "Origin: null". Over http, from
		// any but a loopback address, a browser sends no Sec-Fetch-Site either, and the
		// form could not be told from one of another site.
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), geolocation=(), microphone=()")
		if !s.ourHost(r) {
			// A page elsewhere whose name was made to lead here (DNS rebinding)
			// carries that name.
			http.Error(w, "this server does not go by that name; open it by its address, or start it with --host NAME", http.StatusMisdirectedRequest)
			return
		}
		// "same-site" is another server on this machine: another port.
		if site := r.Header.Get("Sec-Fetch-Site"); (site == "cross-site" || site == "same-site") && r.Header.Get("Sec-Fetch-Mode") != "navigate" {
			http.Error(w, "asked for by a page of another site", http.StatusForbidden)
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxBodyBytes)
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			// Streams are read for hours; a form is not.
			http.NewResponseController(w).SetReadDeadline(s.opt.Now().Add(readTimeout))
		}
		inner.ServeHTTP(w, r)
	})
}

// formed reads a request's form before anybody asks for its fields: too long a
// one is refused, where FormValue would find it empty.
func (s *Server) formed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if kind, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); strings.HasPrefix(strings.TrimSpace(strings.ToLower(kind)), "multipart/") {
			s.fail(w, r, http.StatusUnsupportedMediaType, "forms in parts are not read here", "send it as application/x-www-form-urlencoded")
			return
		}
		if err := r.ParseForm(); err != nil {
			switch {
			case is[*http.MaxBytesError](err):
				s.failed(w, r, err)
			case errors.Is(err, os.ErrDeadlineExceeded):
				s.fail(w, r, http.StatusRequestTimeout, "the form did not come to its end in time", "")
			default:
				s.fail(w, r, http.StatusBadRequest, "the form could not be read: "+err.Error(), "")
			}
			return
		}
		next.ServeHTTP(w, r)
	})
}

// ourHost tells whether the Host header names this server: a loopback name, the
// address that the connection came in at, this machine's name, or one that the
// user gave. An address cannot be rebound, a name can.
func (s *Server) ourHost(r *http.Request) bool {
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	if host == "localhost" {
		return true
	}
	if ip, err := netip.ParseAddr(host); err == nil {
		if ip.IsLoopback() {
			return true
		}
		local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
		if !ok {
			return false
		}
		at, ok := netip.AddrFromSlice(local.IP)
		return ok && at.Unmap() == ip.Unmap()
	}
	own := strings.ToLower(hostname())
	if own != "" && (host == own || host == own+".local") {
		return true
	}
	for _, name := range s.opt.Hosts {
		if strings.EqualFold(name, host) {
			return true
		}
	}
	return false
}
