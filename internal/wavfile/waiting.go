package wavfile

import "sync"

// waits holds the calls into file systems that have not returned yet. A disk or a
// network that hangs keeps such a call for ever, and nothing in the process can end
// it: all that is left is to say which file it is, and to leave.
var waits struct {
	sync.Mutex
	last  uint64
	files map[uint64]string
}

// Ask notes that this process asks a file system for something of a file, until
// the function that it returns is called. It is safe for concurrent use.
func Ask(path string) (answered func()) {
	n := ask(path)
	return func() { answer(n) }
}

func ask(path string) uint64 {
	waits.Lock()
	defer waits.Unlock()
	if waits.files == nil {
		waits.files = map[uint64]string{}
	}
	waits.last++
	waits.files[waits.last] = path
	return waits.last
}

func answer(n uint64) {
	waits.Lock()
	defer waits.Unlock()
	delete(waits.files, n)
}

// Unanswered returns the file that the process has waited for longest, and a
// number that is the same as long as it is the same call; "" and 0 if it waits for
// none.
func Unanswered() (path string, call uint64) {
	waits.Lock()
	defer waits.Unlock()
	for n, p := range waits.files {
		if call == 0 || n < call {
			path, call = p, n
		}
	}
	return path, call
}
