package main

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite THIRD-PARTY-NOTICES.md; the run still fails where something changed")

const moduleRoot = "../.."

// TestNoticesAreThoseOfTheProgram compares the committed text with what the modules say today.
func TestNoticesAreThoseOfTheProgram(t *testing.T) {
	t.Chdir(moduleRoot)
	want, err := notices()
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile("THIRD-PARTY-NOTICES.md")
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	if string(got) == string(want) {
		return
	}
	if *update {
		if err := os.WriteFile("THIRD-PARTY-NOTICES.md", want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Error("THIRD-PARTY-NOTICES.md is not what the modules in the program say: run go run ./cmd/notices and look at the difference")
}

// TestPlatformsAreThoseOfTheMakefile: what is shipped is what is noticed.
func TestPlatformsAreThoseOfTheMakefile(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(moduleRoot, "Makefile"))
	if err != nil {
		t.Fatal(err)
	}
	line := regexp.MustCompile(`(?m)^PLATFORMS\s*\?=(.*)$`).FindStringSubmatch(string(text))
	if line == nil {
		t.Fatal("the Makefile has no line PLATFORMS ?=")
	}
	if got := strings.Fields(line[1]); !slices.Equal(got, platforms) {
		t.Errorf("Makefile builds for %v, notices are for %v", got, platforms)
	}
}

func TestModuleWithoutLicenceIsRefused(t *testing.T) {
	m := module{path: "example.org/bare", version: "v1.0.0", root: t.TempDir()}
	if err := os.WriteFile(filepath.Join(m.root, "license.go"), []byte("package bare\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := m.write(&strings.Builder{})
	if err == nil || !strings.Contains(err.Error(), "example.org/bare v1.0.0 has no licence file") {
		t.Errorf("error %v", err)
	}
}

func TestLicenceFilesOfUsedFoldersAreRead(t *testing.T) {
	root := t.TempDir()
	used := filepath.Join(root, "inner")
	if err := os.Mkdir(used, 0o700); err != nil {
		t.Fatal(err)
	}
	for path, text := range map[string]string{
		filepath.Join(root, "LICENSE"):      "Root terms. \r\n",
		filepath.Join(used, "Copying.txt"):  "Inner terms.\n",
		filepath.Join(used, "notes.txt"):    "No terms.\n",
		filepath.Join(used, "license.json"): "{}",
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var out strings.Builder
	m := module{path: "example.org/m", version: "v1.2.3", root: root, folders: map[string]bool{used: true, root: true}}
	if err := m.write(&out); err != nil {
		t.Fatal(err)
	}
	want := "\n## example.org/m v1.2.3\n\nLICENSE:\n\n````text\nRoot terms.\n````\n\ninner/Copying.txt:\n\n````text\nInner terms.\n````\n"
	if out.String() != want {
		t.Errorf("got %q, want %q", out.String(), want)
	}
}

func TestLicencesBesideEmbeddedFiles(t *testing.T) {
	root := t.TempDir()
	for _, dir := range []string{"page", ".git"} {
		if err := os.Mkdir(filepath.Join(root, dir), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(root, dir, "plot-LICENSE.txt"), []byte("Plot terms.\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	var out strings.Builder
	if err := embedded(&out, root); err != nil {
		t.Fatal(err)
	}
	want := "\n## plot, in " + filepath.ToSlash(root) + "/page\n\n````text\nPlot terms.\n````\n"
	if out.String() != want {
		t.Errorf("got %q, want %q", out.String(), want)
	}
}
