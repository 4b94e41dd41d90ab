package jackrig

import "syscall"

// together makes a process end with this one, even if this one is killed: a
// remaining server can hold the lock that all servers share.
func together() *syscall.SysProcAttr { return &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM} }
