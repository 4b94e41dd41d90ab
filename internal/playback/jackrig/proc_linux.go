package jackrig

import "syscall"

// together makes a process end with this one, even where that is killed: a
// server left behind can hold the lock that all servers share.
func together() *syscall.SysProcAttr { return &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM} }
