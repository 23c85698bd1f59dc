package desk

import (
	"fmt"
	"io"
	"mime/multipart"
	"os"
	"path/filepath"
	"strings"
	"unicode"
)

// longest is how many bytes a file's name may have.
const longest = 120

// save writes files into a folder of their own below dir, each under its safe name.
func save(dir, field string, files []*multipart.FileHeader) (paths []string, err error) {
	taken := map[string]bool{}
	for i, h := range files {
		if h.Filename == "" || h.Size == 0 {
			continue
		}
		name := SafeName(h.Filename)
		if taken[name] {
			name = fmt.Sprintf("%d-%s", i+1, name)
		}
		taken[name] = true
		folder := filepath.Join(dir, field)
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return nil, err
		}
		path := filepath.Join(folder, name)
		if err := write(path, h); err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, nil
}

func write(path string, h *multipart.FileHeader) (err error) {
	in, err := h.Open()
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if _, err = io.Copy(out, in); err != nil {
		out.Close()
		return err
	}
	return out.Close()
}

// SafeName is a file's name without folders: letters, digits, blanks, hyphens, dots
// and underscores, no dot first, not longer than 120 bytes. The ending stays, for it
// tells what the file is.
func SafeName(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	name = strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune(" -._", r) {
			return r
		}
		return '_'
	}, strings.ToValidUTF8(name, "_"))
	name = strings.TrimLeft(name, ". ")
	if len(name) > longest {
		ending := filepath.Ext(name)
		if len(ending) > 10 {
			ending = ""
		}
		name = strings.ToValidUTF8(name[:longest-len(ending)], "") + ending
	}
	if name == "" {
		return "file"
	}
	return name
}
