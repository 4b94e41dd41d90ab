package web

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"time"
	"unicode"
)

// Role says what a person may do.
type Role int

// The roles, each with the rights of those before it.
const (
	Stranger Role = iota // nothing but the log-in page
	Looker               // see and hear
	Operator             // change, scan, render, run the transport
)

// String names a role as pages do.
func (r Role) String() string { return [...]string{"stranger", "look", "operate"}[r] }

const (
	cookieName   = "nightreel"
	loginAge     = 16 * time.Hour // a show day
	maxLogins    = 200            // of a role; the oldest goes, but never whoever holds the transport
	maxTries     = 8              // wrong pass-phrases in tryWindow, from one address
	maxAllTries  = 60             // from everybody together; then whoever failed once has to wait
	maxKeptTries = 4096           // that are remembered
	tryWindow    = time.Minute
	maxNameRunes = 40
)

// person is who sent a request.
type person struct {
	Role Role
	Name string // as given at the log-in; "" on a server without pass-phrases
	key  string // tells log-ins apart; "" there
}

// doors knows the pass-phrases and who is in.
type doors struct {
	look, operate [32]byte
	closed        bool // pass-phrases are needed
	now           func() time.Time
	holds         func(key string) bool // who holds the transport

	mu    sync.Mutex
	in    map[string]login
	tries []try
}

// try is a wrong pass-phrase: one guesser is not to lock the others out.
type try struct {
	from string
	at   time.Time
}

type login struct {
	person
	at time.Time
}

func newDoors(opt Options) *doors {
	return &doors{look: sha256.Sum256([]byte(opt.Look)), operate: sha256.Sum256([]byte(opt.Operate)), closed: opt.Look != "", now: opt.Now, in: map[string]login{}}
}

func (d *doors) locked() bool { return d.closed }

// who returns the sender of a request.
func (d *doors) who(r *http.Request) person {
	if !d.closed {
		return person{Role: Operator}
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return person{}
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	l, ok := d.in[c.Value]
	if !ok || d.now().Sub(l.at) > loginAge {
		return person{}
	}
	return l.person
}

// enter checks a pass-phrase and returns the cookie's value. wait says that
// there were too many wrong ones.
func (d *doors) enter(phrase, name, from string) (token string, ok, wait bool) {
	sum := sha256.Sum256([]byte(strings.TrimSpace(phrase)))
	d.mu.Lock()
	defer d.mu.Unlock()
	now := d.now()
	for len(d.tries) > 0 && now.Sub(d.tries[0].at) > tryWindow {
		d.tries = d.tries[1:]
	}
	his := 0
	for _, t := range d.tries {
		if t.from == from {
			his++
		}
	}
	// An address that did not fail may try, whoever else is guessing: or guesses
	// would keep out those who know.
	if his >= maxTries || his > 0 && len(d.tries) >= maxAllTries {
		return "", false, true
	}
	role := Stranger
	// Both are compared, so that time tells nothing.
	if subtle.ConstantTimeCompare(sum[:], d.look[:]) == 1 {
		role = Looker
	}
	if subtle.ConstantTimeCompare(sum[:], d.operate[:]) == 1 {
		role = Operator
	}
	if role == Stranger {
		if len(d.tries) >= maxKeptTries {
			d.tries = d.tries[1:]
		}
		d.tries = append(d.tries, try{from, now})
		return "", false, false
	}
	d.makeRoom(role)
	if runes := []rune(strings.TrimSpace(name)); len(runes) > maxNameRunes {
		name = string(runes[:maxNameRunes])
	}
	token = rand.Text() // 128 bits and more
	d.in[token] = login{person{Role: role, Name: strings.TrimSpace(name), key: token}, now}
	return token, true, false
}

// makeRoom drops the oldest log-in of a role where there are maxLogins: who may
// only look pushes out nobody who operates. Whoever holds the transport stays.
func (d *doors) makeRoom(role Role) {
	n, oldest := 0, ""
	for key, l := range d.in {
		if l.Role != role {
			continue
		}
		n++
		if (oldest == "" || l.at.Before(d.in[oldest].at)) && !d.holds(key) {
			oldest = key
		}
	}
	if n >= maxLogins {
		delete(d.in, oldest)
	}
}

func (d *doors) leave(r *http.Request) {
	if c, err := r.Cookie(cookieName); err == nil {
		d.mu.Lock()
		delete(d.in, c.Value)
		d.mu.Unlock()
	}
}

type personKey struct{}

// whoIs returns the sender of a request that passed authorize.
func whoIs(r *http.Request) person {
	p, _ := r.Context().Value(personKey{}).(person)
	return p
}

// authorize lets those pass whose role suffices: looking for what only reads,
// operating for what changes something.
func (s *Server) authorize(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		p := s.doors.who(r)
		need := Operator
		switch {
		case r.URL.Path == "/login" || strings.HasPrefix(r.URL.Path, "/assets/"):
			need = Stranger
		case r.Method == http.MethodGet || r.Method == http.MethodHead || r.URL.Path == "/logout":
			need = Looker
		}
		if p.Role < need {
			switch {
			case p.Role == Stranger && wantsPage(r):
				http.Redirect(w, r, "/login?to="+urlQuery(r.URL.RequestURI()), http.StatusSeeOther)
			case p.Role == Stranger:
				s.fail(w, r, http.StatusUnauthorized, "log in first", "")
			default:
				s.fail(w, r, http.StatusForbidden, "this needs the pass-phrase for operating; yours is for looking", "log out and in again with the other one")
			}
			return
		}
		next.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), personKey{}, p)))
	})
}

func (s *Server) loginPage(w http.ResponseWriter, r *http.Request) error {
	if !s.doors.locked() {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	return s.render(w, r, http.StatusOK, "login.html", "Log in", loginView{To: localPath(r.URL.Query().Get("to"))})
}

type loginView struct{ To, Problem string }

func (s *Server) login(w http.ResponseWriter, r *http.Request) error {
	to := localPath(r.FormValue("to"))
	token, ok, wait := s.doors.enter(r.FormValue("phrase"), r.FormValue("name"), guesser(r))
	switch {
	case wait:
		w.Header().Set("Retry-After", "60")
		return s.render(w, r, http.StatusTooManyRequests, "login.html", "Log in", loginView{to, "Too many wrong pass-phrases. Wait a minute, then try again."})
	case !ok:
		return s.render(w, r, http.StatusUnauthorized, "login.html", "Log in", loginView{to, "That pass-phrase is not known. It stands in the terminal that started the server."})
	default:
		http.SetCookie(w, &http.Cookie{Name: cookieName, Value: token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, Secure: r.TLS != nil, MaxAge: int(loginAge / time.Second)})
		http.Redirect(w, r, to, http.StatusSeeOther)
		return nil
	}
}

func (s *Server) logout(w http.ResponseWriter, r *http.Request) error {
	s.doors.leave(r)
	http.SetCookie(w, &http.Cookie{Name: cookieName, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: -1})
	http.Redirect(w, r, "/login", http.StatusSeeOther)
	return nil
}

// guesser is the address that wrong pass-phrases count for. One machine has a
// whole /64 of IPv6 addresses.
func guesser(r *http.Request) string {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	ip := at.Addr().Unmap().WithZone("")
	if ip.Is6() {
		if net, err := ip.Prefix(64); err == nil {
			return net.String()
		}
	}
	return ip.String()
}

// localPath keeps a redirection on this server.
func localPath(to string) string {
	// Browsers drop tabs and line feeds from an address and read \ as /: then "/<tab>/evil" leads elsewhere.
	if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//") || strings.Contains(to, `\`) || strings.ContainsFunc(to, unicode.IsControl) {
		return "/"
	}
	return to
}
