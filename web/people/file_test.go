package people

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// kept is a file of three users.
func kept(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "users.toml")
	err := Edit(path, true, func(r *Roll) error {
		*r = *three(t)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func TestFile(t *testing.T) {
	path := kept(t)
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("mode: found %v, %v; expected 0600", info.Mode(), err)
	}
	if err := Edit(path, false, func(r *Roll) error { return r.SetRole("Tom", Reader) }); err != nil {
		t.Fatal(err)
	}
	r, err := Read(path)
	if tom, ok := r.Find("Tom"); err != nil || !ok || tom.Role != Reader {
		t.Errorf("Tom: found %v, %v", tom, err)
	}
	left, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(left) != 1 {
		t.Errorf("files in the folder: found %v, expected the one", left)
	}
}

// TestEditRefuses: a change that fails, and one beside another's, leave the file as it was.
func TestEditRefuses(t *testing.T) {
	path := kept(t)
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := Edit(path, false, func(r *Roll) error { return r.SetRole("nobody", Reader) }); err == nil {
		t.Error("a role of nobody was changed")
	}
	err = Edit(path, false, func(r *Roll) error {
		if err := Edit(path, false, func(r *Roll) error { return r.SetRole("Tom", Scientist) }); err != nil {
			return err
		}
		return r.SetRole("Sven", Reader)
	})
	if err == nil || !strings.Contains(err.Error(), "made meanwhile") {
		t.Errorf("two changes at once: found %v", err)
	}
	r, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	if tom, _ := r.Find("Tom"); tom.Role != Scientist {
		t.Error("the first of two changes was lost")
	}
	if data, err := os.ReadFile(path); err != nil || string(data) == string(before) {
		t.Errorf("the first change is not there: %v", err)
	}
	if err := Edit(filepath.Join(t.TempDir(), "none.toml"), false, func(*Roll) error { return nil }); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a file that is not there: found %v", err)
	}
}

func TestOthersMayNotRead(t *testing.T) {
	path := kept(t)
	for _, mode := range []fs.FileMode{0o644, 0o660, 0o602, 0o604} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		for _, err := range []error{second(Read(path)), Edit(path, false, func(*Roll) error { return nil })} {
			if err == nil || !strings.Contains(err.Error(), "mode 0600") || !strings.Contains(err.Error(), "chmod 600 "+path) {
				t.Errorf("mode %04o: found %v, expected what to do", mode, err)
			}
		}
	}
	if err := second(Read(t.TempDir())); err == nil {
		t.Error("a folder was read")
	}
}

func second[T any](_ T, err error) error { return err }

// TestSource: a change is seen, a broken file lets nobody in, a mended one does.
func TestSource(t *testing.T) {
	path := kept(t)
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	first, err := s.Roll()
	if err != nil {
		t.Fatal(err)
	}
	if again, err := s.Roll(); err != nil || again != first {
		t.Errorf("unchanged: found another roll, %v", err)
	}
	if err := Edit(path, false, func(r *Roll) error { return r.Remove("Tom") }); err != nil {
		t.Fatal(err)
	}
	r, err := s.Roll()
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := r.Find("Tom"); ok {
		t.Error("Tom is still there")
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for name, spoil := range map[string]func() error{
		"broken": func() error { return os.WriteFile(path, append(whole, "[[user"...), 0o600) },
		"mode":   func() error { return os.Chmod(path, 0o644) },
		"gone":   func() error { return os.Remove(path) },
	} {
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			if _, err := s.Roll(); err == nil {
				t.Errorf("%s: no fault", name)
			}
		}
		if err := replace(path, whole, nil); err != nil {
			t.Fatal(err)
		}
		if r, err := s.Roll(); err != nil || len(r.Users()) != 2 {
			t.Errorf("mended after %s: found %v", name, err)
		}
	}
	empty := filepath.Join(t.TempDir(), "empty.toml")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(empty); err == nil || !strings.Contains(err.Error(), "flourcast user add") {
		t.Errorf("no user: found %v, expected what to do", err)
	}
}
