package playback

import (
	"context"
	"reflect"
	"time"

	"nightreel/catalog"
)

// keepEvery is how often the state is stored while it changes.
const keepEvery = time.Second

// keep stores the state as it changes, until the player is gone, and reads ticks
// of other processes.
func (p *Player) keep() {
	tick := time.NewTicker(keepEvery)
	defer tick.Stop()
	for {
		select {
		case <-p.done:
			return
		case <-tick.C:
			// A catalog that is busy for a moment is no reason to stop: the next
			// second tries again, and Close reports an error.
			p.save(context.Background())
			p.reload(context.Background())
		}
	}
}

// save stores the state of playback if it has changed.
func (p *Player) save(ctx context.Context) error {
	p.mu.Lock()
	st := p.status
	if len(st.Inputs) == 0 { // no status has come from the player yet
		p.mu.Unlock()
		return nil
	}
	now := catalog.PlaybackState{Session: p.ses.ID, Item: st.Item, AtS: st.AtS, LoopOn: st.Loop.On, LoopItem: st.Loop.Item, LoopFromS: st.Loop.FromS, LoopToS: st.Loop.ToS,
		LevelDB: st.LevelDB, FadeMS: st.FadeMS, PreRollS: st.PreRollS, AtEnd: st.AtEnd, Trims: map[int]float64{}, Muted: []int{}}
	for _, in := range st.Inputs {
		if in.TrimDB != 0 {
			now.Trims[in.DeskInput] = in.TrimDB
		}
		if in.Muted {
			now.Muted = append(now.Muted, in.DeskInput)
		}
	}
	same := reflect.DeepEqual(now, p.saved)
	p.mu.Unlock()
	if same {
		return nil
	}
	if err := p.store.SavePlaybackState(ctx, now); err != nil {
		return err
	}
	p.mu.Lock()
	p.saved = now
	p.mu.Unlock()
	return nil
}

// restore sets a player to the stored state of the session, except the live
// trims, with which it started. It leaves out what no longer fits the session.
func (p *Player) restore(ctx context.Context, st catalog.PlaybackState) {
	level := min(st.LevelDB, StartLevelDB)
	all := []Command{
		{Do: Level, DB: &level},
		{Do: Fade, MS: st.FadeMS},
		{Do: Roll, ByS: st.PreRollS},
		{Do: AtEnd, Then: st.AtEnd},
	}
	for _, input := range st.Muted {
		all = append(all, Command{Do: Mute, Input: input, On: true})
	}
	if st.LoopToS > st.LoopFromS {
		all = append(all, Command{Do: LoopOn, Item: &st.LoopItem, FromS: &st.LoopFromS, ToS: &st.LoopToS})
		if !st.LoopOn {
			all = append(all, Command{Do: LoopOff})
		}
	}
	all = append(all, Command{Do: Locate, Item: &st.Item, AtS: &st.AtS})
	for _, c := range all {
		p.ask(ctx, c)
	}
}

// Tick stores that a desk input is back on the stage, or that it is not.
func (p *Player) Tick(ctx context.Context, deskInput int, back bool) error {
	if err := p.store.TickBack(ctx, p.ses, deskInput, back); err != nil {
		return err
	}
	return p.reload(ctx)
}

// BackToStage returns the desk inputs that are fed, with their ticks. Before any
// sound was made fed is false: then there is nothing to tick.
func (p *Player) BackToStage() (list []catalog.BackInput, fed bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.back, p.fed
}

func (p *Player) reload(ctx context.Context) error {
	list, fed, err := p.store.BackToStage(ctx, p.ses)
	if err != nil {
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.back, p.fed = list, fed
	return nil
}
