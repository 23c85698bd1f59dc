package serving

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"flourcast/web/people"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// newPassword asks for a password twice at the terminal, without showing it, or takes
// the first line of an input that is none.
func newPassword(c *cobra.Command, name string) (string, error) {
	in := c.InOrStdin()
	f, ok := in.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return firstLine(in)
	}
	fmt.Fprintf(c.ErrOrStderr(), "At least %d characters: four or five words that do not belong together do well.\n", people.LeastPassword)
	first, err := hidden(c.Context(), f, c.ErrOrStderr(), "Password of "+name+": ")
	if err != nil {
		return "", err
	}
	second, err := hidden(c.Context(), f, c.ErrOrStderr(), "Once more: ")
	if err == nil && first != second {
		err = &people.Refusal{Found: "two passwords", Want: "the same twice", Do: "nothing was changed: try again"}
	}
	return first, err
}

// hidden reads a line from a terminal that does not show it. When ctx ends first the
// terminal is set back to showing what is typed.
func hidden(ctx context.Context, f *os.File, say io.Writer, prompt string) (string, error) {
	before, err := term.GetState(int(f.Fd()))
	if err != nil {
		return "", err
	}
	fmt.Fprint(say, prompt)
	defer fmt.Fprintln(say)
	type line struct {
		text []byte
		err  error
	}
	read := make(chan line, 1) // an interrupted read ends with the program
	go func() {
		text, err := term.ReadPassword(int(f.Fd()))
		read <- line{text, err}
	}()
	select {
	case l := <-read:
		return string(l.text), l.err
	case <-ctx.Done():
		return "", errors.Join(ctx.Err(), term.Restore(int(f.Fd()), before))
	}
}

// longestLine is more than any password may have, in bytes.
const longestLine = 4 << 10

func firstLine(in io.Reader) (string, error) {
	text, err := bufio.NewReader(io.LimitReader(in, longestLine)).ReadString('\n')
	if err != nil && !errors.Is(err, io.EOF) {
		return "", err
	}
	text = strings.TrimRight(text, "\r\n")
	if text == "" {
		return "", &people.Refusal{Found: "no password on standard input", Want: "one on its first line, or a terminal to ask at"}
	}
	return text, nil
}
