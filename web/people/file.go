package people

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"

	"flourcast/dataset/tomlfile"
)

const (
	mode     fs.FileMode = 0o600   // of the file: its owner reads and writes, nobody else
	mostFile             = 1 << 20 // bytes; thousands of users
)

// Read reads a file of users. A file that others than its owner may read or write is
// refused; on Windows, where modes do not tell, that is left to the folder. Errors of
// what is in it are *tomlfile.Error with the line.
func Read(path string) (*Roll, error) {
	r, _, _, err := read(path)
	return r, err
}

// read also gives the file's bytes and what the system says of it.
func read(path string) (*Roll, []byte, fs.FileInfo, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, nil, nil, err
	}
	if err := fitting(path, info); err != nil {
		return nil, nil, info, err
	}
	data, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	if err != nil {
		return nil, nil, info, err
	}
	if len(data) > mostFile {
		return nil, nil, info, &tomlfile.Error{File: path, Found: "more than 1 MiB", Want: what}
	}
	r, err := Parse(path, data)
	return r, data, info, err
}

// fitting looks at what a file is and who may read it.
func fitting(path string, info fs.FileInfo) error {
	if !info.Mode().IsRegular() {
		return &tomlfile.Error{File: path, Found: "a folder or device", Want: what}
	}
	if found := info.Mode().Perm(); runtime.GOOS != "windows" && found&0o077 != 0 {
		return &tomlfile.Error{File: path, Found: fmt.Sprintf("mode %04o, so that others can read or change it", found), Want: "mode 0600", Cure: "chmod 600 " + path}
	}
	return nil
}

// Edit changes a file of users: f gets what is in it, and what f leaves replaces the file
// whole, with mode 0600. Only with create the file may be missing. When somebody else
// has changed the file meanwhile, nothing is written.
func Edit(path string, create bool, f func(*Roll) error) error {
	r, before, was, err := read(path)
	if create && errors.Is(err, fs.ErrNotExist) {
		r, err = Parse(path, nil)
	}
	if err != nil {
		return err
	}
	if err := f(r); err != nil {
		return err
	}
	data, err := r.Encode()
	if err != nil {
		return err
	}
	if _, err := Parse(path, data); err != nil {
		return fmt.Errorf("the file as it would be cannot be read back, and was not written: %w", err)
	}
	now, err := os.ReadFile(path)
	if err != nil && !(before == nil && errors.Is(err, fs.ErrNotExist)) {
		return err
	}
	if !bytes.Equal(now, before) {
		return &tomlfile.Error{File: path, Found: "another change made meanwhile", Want: "one at a time", Cure: "see it with 'flourcast user list', then try again"}
	}
	return replace(path, data, was)
}

// replace puts data in the place of a file: written to the disk beside it, then renamed,
// so that it is there whole, or as it was. Its owner is that of the file before; nil
// where there was none.
func replace(path string, data []byte, was fs.FileInfo) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*") // mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // after the rename there is nothing to remove
	_, err = tmp.Write(data)
	if err == nil {
		err = tmp.Chmod(mode)
	}
	if err == nil && was != nil {
		err = keepOwner(tmp, was)
	}
	if err == nil {
		err = tmp.Sync()
	}
	if err := errors.Join(err, tmp.Close()); err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}

// Source is a file of users that is read again when it changes.
type Source struct {
	path string
	mu   sync.Mutex
	seen fs.FileInfo
	roll *Roll
	err  error
}

// Open reads a file of users that is to be watched. Errors: as of Read, and no user.
func Open(path string) (*Source, error) {
	s := &Source{path: path}
	r, err := s.Roll()
	if err == nil && len(r.users) == 0 {
		err = &tomlfile.Error{File: path, Found: "no user", Want: "one or more", Cure: "add one with 'flourcast user add NAME --role scientist --users " + path + "'"}
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

// Roll is the users as the file has them now. A file that cannot be read any more is an
// error: who is in it then nobody can tell, so that nobody is.
func (s *Source) Roll() (*Roll, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now, err := os.Stat(s.path)
	if err != nil {
		s.seen = nil
		return nil, err
	}
	if s.seen == nil || !os.SameFile(s.seen, now) || !s.seen.ModTime().Equal(now.ModTime()) || s.seen.Size() != now.Size() || s.seen.Mode() != now.Mode() {
		s.roll, _, s.seen, s.err = read(s.path)
	}
	return s.roll, s.err
}
