package folder

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
)

// Keep puts data into originals/ under its SHA-256, whole or not at all.
func (f *Folder) Keep(_ context.Context, sum string, data []byte) error {
	dir := filepath.Join(f.dir, originals)
	path := filepath.Join(dir, sum)
	if info, err := os.Stat(path); err == nil && info.Size() == int64(len(data)) {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return explain(f.dir, err)
	}
	tmp, err := os.CreateTemp(dir, ".part-*")
	if err != nil {
		return explain(f.dir, err)
	}
	defer os.Remove(tmp.Name()) // after the rename there is nothing to remove
	_, err = tmp.Write(data)
	if err == nil {
		err = tmp.Chmod(0o444)
	}
	if err == nil {
		err = tmp.Sync()
	}
	if err = errors.Join(err, tmp.Close()); err != nil {
		return explain(f.dir, err)
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return explain(f.dir, err)
	}
	return explain(f.dir, syncDir(dir))
}

// Original is a file of originals/.
func (f *Folder) Original(_ context.Context, sum string) ([]byte, error) {
	return os.ReadFile(filepath.Join(f.dir, originals, sum))
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// syncDir makes the names in a folder last. On Windows a folder cannot be synced, and
// need not be.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
