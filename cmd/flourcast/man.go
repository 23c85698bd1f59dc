package main

import (
	"fmt"
	"os"

	"flourcast/cmd/flourcast/shell"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manCommand writes a man page for each command of root, out of the same words as
// --help. The date on the pages is the clock's month.
func manCommand(a *shell.App, root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "man DIR",
		Short: "Write a man page for each command into a folder",
		Long: `man writes one page for each command, flourcast-fit.1 and so on, into DIR, which
is made when it is not there. Read one with "man DIR/flourcast-fit.1", or copy
them to a folder that man knows, such as /usr/local/share/man/man1.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("making the folder of the man pages: %w", err)
			}
			root.DisableAutoGenTag = true
			date := a.Env().Clock()
			header := &doc.GenManHeader{Section: "1", Date: &date, Source: "flourcast " + shell.Version(), Manual: "flourcast"}
			if err := doc.GenManTree(root, header, args[0]); err != nil {
				return fmt.Errorf("writing man pages: %w", err)
			}
			return nil
		},
	}
}
