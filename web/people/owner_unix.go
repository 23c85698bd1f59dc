//go:build unix

package people

import (
	"fmt"
	"io/fs"
	"os"
	"syscall"
)

// keepOwner gives a file the owner that another had, so that a change made by the
// system's administrator does not shut the server's account out.
func keepOwner(f *os.File, before fs.FileInfo) error {
	was, ok := before.Sys().(*syscall.Stat_t)
	if !ok || int(was.Uid) == os.Geteuid() {
		return nil
	}
	if err := f.Chown(int(was.Uid), int(was.Gid)); err != nil {
		return fmt.Errorf("%s belongs to another account, which would not be able to read it any more: change it as that account: %w", before.Name(), err)
	}
	return nil
}
