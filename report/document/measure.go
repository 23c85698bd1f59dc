package document

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// width is the number of terminal columns that a text takes.
func width(s string) int { return uniseg.StringWidth(s) }

// pad fills a text with spaces to a width.
func pad(s string, to int, a Align) string {
	free := max(0, to-width(s))
	switch a {
	case Right:
		return strings.Repeat(" ", free) + s
	case Center:
		return strings.Repeat(" ", free/2) + s + strings.Repeat(" ", free-free/2)
	}
	return s + strings.Repeat(" ", free)
}

// wrap breaks a text into lines of at most a width, at spaces where it can.
func wrap(s string, to int) []string {
	to = max(to, 2) // the widest single character
	var out []string
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && width(line)+1+width(word) > to {
			out, line = append(out, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
		for width(line) > to {
			head := ""
			for _, r := range line {
				if width(head+string(r)) > to {
					break
				}
				head += string(r)
			}
			// A file or column name breaks better after a joint of its own.
			if joint := strings.LastIndexAny(head, "/-_."); joint >= len(head)/2 {
				head = head[:joint+1]
			}
			out, line = append(out, head), line[len(head):]
		}
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

// clean makes a text one line without control and format characters, which in
// a terminal could do more than show text.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || r == '\r' {
			return ' '
		}
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == unicode.ReplacementChar {
			return '\uFFFD'
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
