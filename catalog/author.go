package catalog

import (
	"context"
	"crypto/rand"
	"os"
	"os/user"
	"strings"
)

// DefaultAuthor returns the author of facts if no name is given: the user's name
// on this machine and the machine's, for example "ada@monitors".
func DefaultAuthor() string {
	name, host := "", ""
	if u, err := user.Current(); err == nil {
		name = u.Username
		if i := strings.LastIndexByte(name, '\\'); i >= 0 { // MACHINE\user on Windows
			name = name[i+1:]
		}
	}
	if h, err := os.Hostname(); err == nil {
		host, _, _ = strings.Cut(h, ".")
	}
	switch {
	case name == "":
		return host
	case host == "":
		return name
	}
	return name + "@" + host
}

// DeviceID identifies this machine. It is stored outside the catalog, because
// catalogs are copied from one machine to another.
type DeviceID [8]byte

// SignAs sets the author of everything that is written from now on: the person's
// name and the machine. device is called when something is first written. Call
// SignAs before the store is used.
func (s *Store) SignAs(author string, device func() DeviceID) {
	s.author, s.device = author, device
}

// randomDevice returns the id of a machine that stores none.
func randomDevice() (id DeviceID) {
	rand.Read(id[:]) // never fails
	return id
}

type stepKey struct{}

// WithStep returns a context in which all writes belong to one step: one
// command, or one click on a page. Without it each write is a step of its own.
func WithStep(ctx context.Context) context.Context {
	return context.WithValue(ctx, stepKey{}, [8]byte(randomDevice()))
}

// step returns the id of the step that a context is for.
func (s *Store) step(ctx context.Context) StepID {
	of, ok := ctx.Value(stepKey{}).([8]byte)
	if !ok {
		of = randomDevice()
	}
	device := s.device()
	return StepID(append(device[:], of[:]...))
}
