// Command notices writes THIRD-PARTY-NOTICES.md: the licences of all modules whose
// code is in a released flourcast, word for word.
//
//  1. For each platform of a release, go list names the packages in the program and
//     their modules; so tools and tests of ours add nothing.
//  2. Of each module, the licence files at its root and in the folders of the
//     packages used are read from the module cache.
//  3. Go's own licence comes first, since its library and runtime are linked in. Files
//     of others that stand in our tree, NAME beside NAME-LICENSE.txt, come last.
//
// A module without a licence file is an error: nobody may ship it.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// platforms are those of `make dist`; a test compares the two lists.
var platforms = []string{"linux/amd64", "linux/arm64", "darwin/amd64", "darwin/arm64", "windows/amd64", "windows/arm64"}

const program = "flourcast/cmd/flourcast"

func main() {
	text, err := notices()
	if err == nil {
		err = os.WriteFile("THIRD-PARTY-NOTICES.md", text, 0o644)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "notices:", err)
		os.Exit(1)
	}
}

// module is one module in the program: where it lies, and the folders used of it.
type module struct {
	path, version, root string
	folders             map[string]bool
}

// notices returns the whole text, modules by path.
func notices() ([]byte, error) {
	modules, err := linked()
	if err != nil {
		return nil, err
	}
	goroot, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("asking for Go's own folder: %w", err)
	}
	var out bytes.Buffer
	out.WriteString("# Third-party notices\n\nThe released program contains the modules below, unchanged, under these licences.\n" +
		"Written by `go run ./cmd/notices`; a test compares it with go.mod.\n")
	standard := module{path: "The Go library and runtime", root: strings.TrimSpace(string(goroot))}
	for _, m := range append([]module{standard}, modules...) {
		if err := m.write(&out); err != nil {
			return nil, err
		}
	}
	if err := embedded(&out, "."); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// embedded adds the licences that stand beside files of others in the tree below dir.
func embedded(out io.Writer, dir string) error {
	return filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err != nil {
			return fmt.Errorf("looking for licences: %w", err)
		}
		if e.IsDir() && strings.HasPrefix(e.Name(), ".") && path != dir {
			return filepath.SkipDir
		}
		name, ok := strings.CutSuffix(e.Name(), "-LICENSE.txt")
		if !ok {
			return nil
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return fmt.Errorf("licence of %s: %w", name, err)
		}
		_, err = fmt.Fprintf(out, "\n## %s, in %s\n\n````text\n%s\n````\n", name, filepath.ToSlash(filepath.Dir(path)), plain(string(text)))
		return err
	})
}

// linked asks go list, platform by platform, for the modules in the program.
func linked() ([]module, error) {
	found := map[string]*module{}
	for _, platform := range platforms {
		system, processor, _ := strings.Cut(platform, "/")
		cmd := exec.Command("go", "list", "-deps", "-json=Dir,Module", program)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+processor)
		cmd.Stderr = os.Stderr
		list, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("go list for %s: %w", platform, err)
		}
		for d := json.NewDecoder(bytes.NewReader(list)); ; {
			var p struct {
				Dir    string
				Module *struct {
					Path, Version, Dir string
					Main               bool
				}
			}
			if err := d.Decode(&p); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				return nil, fmt.Errorf("go list for %s: %w", platform, err)
			}
			if p.Module == nil || p.Module.Main {
				continue
			}
			m := found[p.Module.Path]
			if m == nil {
				m = &module{path: p.Module.Path, version: p.Module.Version, root: p.Module.Dir, folders: map[string]bool{}}
				found[m.path] = m
			}
			m.folders[p.Dir] = true
		}
	}
	modules := make([]module, 0, len(found))
	for _, m := range found {
		modules = append(modules, *m)
	}
	slices.SortFunc(modules, func(a, b module) int { return strings.Compare(a.path, b.path) })
	return modules, nil
}

// write adds the module's heading and its licence files.
func (m module) write(out io.Writer) error {
	folders := []string{m.root}
	for f := range m.folders {
		if f != m.root {
			folders = append(folders, f)
		}
	}
	slices.Sort(folders)
	fmt.Fprintf(out, "\n## %s\n", strings.TrimSpace(m.path+" "+m.version))
	files := 0
	for _, folder := range folders {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return fmt.Errorf("licence of %s: %w", m.path, err)
		}
		for _, e := range entries {
			if e.IsDir() || !isLicence(e.Name()) {
				continue
			}
			text, err := os.ReadFile(filepath.Join(folder, e.Name()))
			if err != nil {
				return fmt.Errorf("licence of %s: %w", m.path, err)
			}
			name, err := filepath.Rel(m.root, filepath.Join(folder, e.Name()))
			if err != nil {
				return fmt.Errorf("licence of %s: %w", m.path, err)
			}
			fmt.Fprintf(out, "\n%s:\n\n````text\n%s\n````\n", filepath.ToSlash(name), plain(string(text)))
			files++
		}
	}
	if files == 0 {
		return fmt.Errorf("module %s %s has no licence file in %s: it cannot be shipped", m.path, m.version, m.root)
	}
	return nil
}

// isLicence says whether a file's name is one of a licence or a notice.
func isLicence(name string) bool {
	switch strings.ToLower(filepath.Ext(name)) {
	case ".go", ".png", ".svg", ".json":
		return false
	}
	upper := strings.ToUpper(name)
	return slices.ContainsFunc([]string{"LICENSE", "LICENCE", "COPYING", "NOTICE", "PATENTS", "OFL"}, func(start string) bool {
		return strings.HasPrefix(upper, start)
	})
}

// plain has one kind of line ending and no blanks at line ends.
func plain(text string) string {
	lines := strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " \t\f")
	}
	return strings.Trim(strings.Join(lines, "\n"), "\n")
}
