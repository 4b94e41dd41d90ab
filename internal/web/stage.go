package web

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"nightreel/catalog"
	"nightreel/internal/playback"
)

// Events of the transport: its status ten times a second to the pages that
// watch it, and to every page whether the desk is being fed.
const (
	transportEvent = "transport"
	feedingEvent   = "feeding"
)

// stage is the one player that a server runs, and who holds it.
type stage struct {
	s *Server

	mu       sync.Mutex
	starting bool
	player   *playback.Player
	session  catalog.Session // that is or was played
	holder   seat
	ended    string // how the last player ended, where it ended by itself
}

// seat is one person at one browser.
type seat struct{ key, name string }

// feeding is what every page shows.
type feeding struct {
	On     bool   `json:"on"`     // sound may leave the outputs
	Text   string `json:"text"`   // "" where there is nothing to say
	Holder string `json:"holder"` // who operates
	Open   bool   `json:"open"`   // inputs were fed and are not ticked back to the stage
}

// transportDoc is what a page that watches the transport is told.
type transportDoc struct {
	Running bool                `json:"running"`
	Session catalog.SessionID   `json:"session"`
	Holder  string              `json:"holder"`
	Seat    string              `json:"-"`
	Status  *playback.Status    `json:"status"`
	Program *programDoc         `json:"program,omitempty"`
	Opened  *playback.Opened    `json:"opened,omitempty"`
	Groups  []groupDoc          `json:"groups,omitempty"`
	Back    []catalog.BackInput `json:"back"`
	Fed     bool                `json:"fed"` // sound was made: the list is to be ticked
	Ended   string              `json:"ended"`
}

// groupDoc is a group of the input list with its desk inputs.
type groupDoc struct {
	Name   string `json:"name"`
	Inputs []int  `json:"inputs"`
}

// groups returns the groups of a session's inputs, in the order of the patch.
func groups(ses catalog.Session) []groupDoc {
	all := []groupDoc{}
	for _, in := range ses.Inputs {
		if in.Group == "" {
			continue
		}
		i := slices.IndexFunc(all, func(g groupDoc) bool { return g.Name == in.Group })
		if i < 0 {
			i = len(all)
			all = append(all, groupDoc{Name: in.Group})
		}
		if !slices.Contains(all[i].Inputs, in.DeskInput) {
			all[i].Inputs = append(all[i].Inputs, in.DeskInput)
		}
	}
	return all
}

// goneError says that no player runs.
type goneError struct{}

func (goneError) Error() string { return "nothing is open: the transport was closed" }
func (goneError) Hint() string  { return "open a playback session first" }

// heldError says that somebody else holds the transport.
type heldError struct{ holder string }

func (e *heldError) Error() string { return "not done: " + e.holder + " holds the transport" }
func (e *heldError) Hint() string {
	return "ask, or take over; fading out and ticking are open to everybody who operates"
}

const (
	startTime = 30 * time.Second // for opening files and device
	doTime    = 5 * time.Second
)

func newStage(s *Server) *stage { return &stage{s: s} }

// open starts a player on a session: silent, its cautions acknowledged by the
// one who holds it from then on.
func (g *stage) open(ctx context.Context, ses catalog.Session, opt opening, who seat) error {
	g.mu.Lock()
	if g.player != nil || g.starting {
		holder := g.holder.name
		g.mu.Unlock()
		return &heldError{holder}
	}
	g.starting, g.holder = true, who
	g.mu.Unlock()
	player, err := g.start(ctx, ses, opt)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.starting = false
	if err != nil {
		return err
	}
	g.player, g.session, g.ended = player, ses, ""
	statuses, _ := player.Subscribe()
	go g.follow(player, statuses)
	return nil
}

// opening is how a session is opened.
type opening struct {
	device string
	rate   int  // Hz; 0 = the recordings'
	conv   bool // recordings at another rate are converted
}

func (g *stage) start(ctx context.Context, ses catalog.Session, opt opening) (*playback.Player, error) {
	prog, err := playback.NewProgram(ctx, g.s.store, ses, playback.ProgramOptions{Rate: opt.rate, ConvertRate: opt.conv})
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, startTime)
	defer cancel()
	return playback.Start(ctx, g.s.store, prog, playback.Options{Device: opt.device, Acknowledged: true, Command: g.s.opt.Player})
}

// follow tells the pages what a player does until it ends.
func (g *stage) follow(player *playback.Player, statuses <-chan playback.Status) {
	before := feeding{}
	for st := range statuses {
		g.s.hub.send(transportEvent, map[string]any{"status": st}, false)
		if now := g.feeding(player.Program(), st); now != before {
			before = now
			g.s.hub.send(feedingEvent, now, true)
		}
	}
	g.mu.Lock()
	if g.player == player {
		g.player = nil
		if err := player.Err(); err != nil {
			g.ended = err.Error()
		}
	}
	g.mu.Unlock()
	g.tellEnd()
}

// feeding words what leaves the outputs.
func (g *stage) feeding(prog *playback.Program, st playback.Status) feeding {
	g.mu.Lock()
	f := feeding{Holder: g.holder.name}
	g.mu.Unlock()
	n := 0
	for _, in := range st.Inputs {
		if in.Status == catalog.Playback && !in.Muted {
			n++
		}
	}
	var from catalog.ShowKey
	if st.Item >= 0 && st.Item < len(prog.Items) {
		from = prog.Items[st.Item].Show
	}
	switch st.State {
	case playback.Playing:
		f.On, f.Text = true, fmt.Sprintf("Feeding %s from %s", count(n, "input"), from)
	case playback.Waiting:
		f.On, f.Text = true, "Waiting for the disk: silent, and goes on by itself"
	case playback.Tone:
		f.On, f.Text = true, "A tone is on the outputs"
	case playback.Lost:
		f.Text = "The sound device is gone: silent"
	default:
		f.Text = fmt.Sprintf("Armed and silent: %s stand on playback", count(len(st.Inputs), "input"))
	}
	return f
}

// tellEnd says to the pages that watch that the player ended, and on every page
// what is still to be switched back.
func (g *stage) tellEnd() {
	g.tellOpen()
	g.s.hub.send(transportEvent, map[string]any{"ended": true}, false)
}

// tellOpen says on every page which inputs were fed and are not ticked back to
// the stage, whoever played: on the command line, or before this server
// started.
func (g *stage) tellOpen() {
	g.mu.Lock()
	running := g.player != nil
	g.mu.Unlock()
	if running {
		return // what is fed is said instead
	}
	all, err := g.s.store.Unreturned(g.s.jobs.ctx)
	if err != nil {
		return // the next change of the catalog asks again
	}
	f := feeding{Open: len(all) > 0}
	for i, u := range all {
		if i > 0 {
			f.Text += "; "
		}
		f.Text += fmt.Sprintf("%s of playback session %d not ticked back to the stage", count(u.Open, "input"), u.Session)
	}
	g.s.hub.send(feedingEvent, f, true)
}

// do sends a command. Fading out is open to everybody who operates.
func (g *stage) do(ctx context.Context, c playback.Command, who seat) error {
	g.mu.Lock()
	player, holder := g.player, g.holder
	g.mu.Unlock()
	if player == nil {
		return goneError{}
	}
	if holder.key != who.key && c.Do != playback.FadeOut {
		return &heldError{holder.name}
	}
	if c.Do == playback.Quit || c.Do == playback.Acknowledge {
		return &badRequest{"that is done by opening and closing", ""}
	}
	ctx, cancel := context.WithTimeout(ctx, doTime)
	defer cancel()
	return player.Do(ctx, c)
}

// take makes somebody else hold the transport.
func (g *stage) take(who seat) error {
	g.mu.Lock()
	running := g.player != nil
	if running {
		g.holder = who
	}
	g.mu.Unlock()
	if !running {
		return goneError{}
	}
	g.s.hub.send(transportEvent, map[string]any{"holder": who.name}, false)
	return nil
}

// holds tells whether somebody holds the transport while something is open.
func (g *stage) holds(key string) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	return key != "" && g.holder.key == key && (g.player != nil || g.starting)
}

// tick notes an input that is back on the stage, or is not.
func (g *stage) tick(ctx context.Context, id catalog.SessionID, input int, back bool) error {
	g.mu.Lock()
	player, ses := g.player, g.session
	g.mu.Unlock()
	if ses.ID != id {
		var err error
		if ses, err = g.s.store.Session(ctx, id); err != nil {
			return err
		}
		player = nil
	}
	var err error
	if player != nil {
		err = player.Tick(ctx, input, back)
	} else {
		err = g.s.store.TickBack(ctx, ses, input, back)
	}
	if err == nil {
		g.tellOpen()
		g.s.hub.send(transportEvent, map[string]any{"ticked": true}, false)
	}
	return err
}

// shut fades out and ends the player.
func (g *stage) shut(ctx context.Context) error {
	g.mu.Lock()
	player := g.player
	g.player = nil
	g.mu.Unlock()
	if player == nil {
		return goneError{}
	}
	_, err := player.Close(ctx)
	g.tellEnd()
	return err
}

// close ends the player with the server.
func (g *stage) close() {
	ctx, cancel := context.WithTimeout(context.Background(), doTime)
	defer cancel()
	g.shut(ctx)
}

// doc is where the transport stands; of a session that is not open, its list.
func (g *stage) doc(ctx context.Context, id catalog.SessionID) (transportDoc, error) {
	g.mu.Lock()
	d := transportDoc{Holder: g.holder.name, Seat: g.holder.key, Session: g.session.ID, Ended: g.ended, Back: []catalog.BackInput{}}
	player, ses := g.player, g.session
	g.mu.Unlock()
	if player != nil {
		st, opened := player.Status(), player.Opened()
		d.Running, d.Status, d.Opened, d.Program = true, &st, &opened, newProgramDoc(player.Program())
		d.Groups = groups(ses)
		d.Back, d.Fed = player.BackToStage()
		return d, nil
	}
	d.Holder = ""
	if id != 0 && id != ses.ID {
		var err error
		if ses, err = g.s.store.Session(ctx, id); err != nil {
			return d, err
		}
	}
	if d.Session = ses.ID; ses.ID == 0 {
		return d, nil
	}
	var err error
	d.Back, d.Fed, err = g.s.store.BackToStage(ctx, ses)
	return d, err
}
