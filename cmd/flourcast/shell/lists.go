package shell

import (
	"path/filepath"
	"strings"
)

// fileLists are the flags that take several files in a row, by command:
// `--curves may.csv june.csv` is `--curves may.csv --curves june.csv`, so that a
// shell's pattern (--curves raw/curves-*.csv) works.
var fileLists = map[string][]string{
	"join":          {"--lots", "--runs", "--curves", "--pasting", "--texture", "--bakes", "--production", "--controls", "--events"},
	"repeatability": {"--lots", "--runs", "--curves", "--pasting"},
	"control":       {"--lots", "--runs", "--curves", "--pasting", "--controls", "--events"},
	"report":        {"--curves"},
	"choose":        {"--forecasts"},
	"follow":        {"--forecasts", "--texture", "--bakes", "--lots", "--table", "--incoming"},
}

// ExpandLists repeats a list flag before each further file behind it. The other
// arguments stay as they are.
func ExpandLists(args []string) []string {
	if len(args) == 0 {
		return args
	}
	lists := fileLists[args[0]]
	var out []string
	open := "" // the list flag whose files we are in
	first := false
	for _, arg := range args {
		switch {
		case strings.HasPrefix(arg, "-"):
			open = ""
			name, _, valued := strings.Cut(arg, "=")
			for _, l := range lists {
				if name == l {
					open, first = l, !valued
				}
			}
		case open != "" && !first:
			out = append(out, open)
		default:
			first = false
		}
		out = append(out, arg)
	}
	return out
}

// OpenWildcards puts the files in place of a pattern of file names (curves-*.csv), as
// the shells of Unix do before a program starts and those of Windows do not. A pattern
// without an extension (--features v_*) is no file's, and one that matches no file
// stays as it is.
func OpenWildcards(args []string) []string {
	var out []string
	for _, arg := range args {
		if !strings.HasPrefix(arg, "-") && strings.ContainsAny(arg, "*?") && filepath.Ext(arg) != "" {
			if files, err := filepath.Glob(arg); err == nil && len(files) > 0 { // in the order of their names
				out = append(out, files...)
				continue
			}
		}
		out = append(out, arg)
	}
	return out
}

// List parts "A,B" at its commas; nothing is no list.
func List(text string) []string {
	var out []string
	for _, part := range strings.Split(text, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}
