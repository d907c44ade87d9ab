//go:build unix && !linux

package redistest

import "syscall"

func dieWithParent() *syscall.SysProcAttr { return nil }
