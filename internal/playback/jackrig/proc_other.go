//go:build !linux

package jackrig

import "syscall"

func together() *syscall.SysProcAttr { return nil }
