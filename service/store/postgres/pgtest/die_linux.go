package pgtest

import "syscall"

// dieWithParent ends the server with a test that does not end it by itself.
func dieWithParent() *syscall.SysProcAttr { return &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }
