package servertest

import "syscall"

// other is nobody else: no server is started on Windows.
func other() (*syscall.SysProcAttr, int, error) { return nil, -1, nil }
