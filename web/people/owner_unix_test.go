//go:build unix

package people

import (
	"os"
	"syscall"
	"testing"
)

// TestOwnerStays: what the administrator changes stays the server's account's to read.
func TestOwnerStays(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("only the administrator can give a file to another account")
	}
	path := kept(t)
	if err := os.Chown(path, 1234, 1235); err != nil {
		t.Fatal(err)
	}
	if err := Edit(path, false, func(r *Roll) error { return r.SetRole("Tom", Reader) }); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if now := info.Sys().(*syscall.Stat_t); now.Uid != 1234 || now.Gid != 1235 || info.Mode().Perm() != 0o600 {
		t.Errorf("found %d:%d, mode %v; expected 1234:1235, 0600", now.Uid, now.Gid, info.Mode())
	}
}
