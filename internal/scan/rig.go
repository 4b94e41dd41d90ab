package scan

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"nightreel/catalog"
)

// rig is recordings of a show of which no folder and no person says what rig
// they are of, and which may be of one.
type rig struct {
	groups   []*group
	recorder string // the originator that its files name, "" for none or several
	scanned  string // what the caller called it at the scan
	place    string // name of the folder that its files lie in; "" = the show's own
}

// nameRigs gives every recording its rig: what a person said, else its folder,
// else what the caller said at the scan, the recorder's name or a folder that
// means nothing else, where several rigs stand side by side. A show's only rig is
// main, and so is that whose files lie in the show's own folder, if no other is.
func nameRigs(groups []*group) {
	byShow := map[label][]*group{}
	var labels []label
	for _, g := range groups {
		if byShow[g.key.label] == nil {
			labels = append(labels, g.key.label)
		}
		byShow[g.key.label] = append(byShow[g.key.label], g)
	}
	for _, l := range labels {
		taken := map[string]bool{}
		var loose []*group
		for _, g := range byShow[l] {
			for _, src := range g.sources {
				g.rigSaid = g.rigSaid || src.words[catalog.SaidRig] != ""
			}
			if g.rigSaid || g.sources[0].says.rig != "" {
				g.rig = g.key.hint
				taken[g.rig] = true
				continue
			}
			loose = append(loose, g)
		}
		nameLoose(rigsOf(loose), taken)
	}
}

// rigsOf puts recordings together that may be of one rig, in order of path.
func rigsOf(loose []*group) []*rig {
	slices.SortFunc(loose, func(a, b *group) int { return cmp.Compare(a.path(), b.path()) })
	var rigs []*rig
	for _, g := range loose {
		at := slices.IndexFunc(rigs, func(r *rig) bool {
			return !slices.ContainsFunc(r.groups, func(o *group) bool { return g.beside(o) })
		})
		if at < 0 {
			at = len(rigs)
			rigs = append(rigs, &rig{})
		}
		rigs[at].groups = append(rigs[at].groups, g)
	}
	for _, r := range rigs {
		recorders, scanned, places := map[string]int{}, map[string]int{}, map[string]int{}
		for _, g := range r.groups {
			for _, src := range g.sources {
				recorders[src.header.Originator]++
				scanned[src.words[catalog.ScanRig]]++
				if src.says.place != src.says.show {
					places[strings.ToLower(clean(filepath.Base(src.says.place)))]++
				}
			}
		}
		delete(recorders, "")
		delete(scanned, "")
		r.recorder, r.scanned, r.place = mostOf(recorders), mostOf(scanned), mostOf(places)
	}
	return rigs
}

func nameLoose(rigs []*rig, taken map[string]bool) {
	called := map[*rig]string{}
	give := func(r *rig, name string) {
		called[r] = name
		taken[name] = true
	}
	if len(rigs) == 1 && len(taken) == 0 {
		give(rigs[0], cmp.Or(rigs[0].scanned, catalog.MainRig))
	}
	for _, by := range []func(*rig) string{
		func(r *rig) string { return r.scanned },
		func(r *rig) string {
			if r.place == "" && len(rigs) > 1 && r.recorder == "" || r.place == "" && len(rigs) == 1 {
				return catalog.MainRig
			}
			return ""
		},
		func(r *rig) string { return r.recorder },
		func(r *rig) string { return r.place },
	} {
		count := map[string]int{}
		for _, r := range rigs {
			if called[r] == "" {
				count[by(r)]++
			}
		}
		for _, r := range rigs {
			if name := by(r); name != "" && called[r] == "" && count[name] == 1 && !taken[name] {
				give(r, name)
			}
		}
	}
	for i, r := range rigs {
		for n := i + 1; called[r] == ""; n++ {
			if name := fmt.Sprintf("rig %d", n); !taken[name] {
				give(r, name)
			}
		}
		for _, g := range r.groups {
			g.rig = called[r]
		}
	}
}

// path returns the first of a group's files in order of path.
func (g *group) path() string {
	path := g.sources[0].path
	for _, src := range g.sources[1:] {
		path = min(path, src.path)
	}
	return path
}

// beside reports whether two recordings cannot be of one rig: their recorders have
// two names, or they hold the same tracks at the same time, as far as is known.
func (g *group) beside(o *group) bool {
	a, b := g.sources[0], o.sources[0]
	if a.header.Originator != "" && b.header.Originator != "" && a.header.Originator != b.header.Originator {
		return true
	}
	for _, x := range g.sources {
		for _, y := range o.sources {
			if x.track >= y.track+y.format.Channels || y.track >= x.track+x.format.Channels {
				continue
			}
			if x.clock.known && y.clock.known {
				if x.clock.time.Before(y.ends()) && y.clock.time.Before(x.ends()) {
					return true
				}
			} else if x.folder() != y.folder() {
				return true
			}
		}
	}
	return false
}
