//go:build unix && !linux

package pgtest

import "syscall"

func dieWithParent() *syscall.SysProcAttr { return &syscall.SysProcAttr{} }
