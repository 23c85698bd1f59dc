//go:build unix

package servertest

import (
	"errors"
	"os"
	"os/user"
	"strconv"
	"syscall"
)

// other is the user for whom a server runs when we are root.
func other() (*syscall.SysProcAttr, int, error) {
	if os.Getuid() != 0 {
		return nil, -1, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		if u, err = user.Lookup("nobody"); err != nil {
			return nil, -1, err
		}
	}
	uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
	gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}, int(uid), errors.Join(err1, err2)
}
