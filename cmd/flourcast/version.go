package main

import (
	"fmt"
	"runtime"

	"flourcast/cmd/flourcast/shell"
	"flourcast/study"

	"github.com/spf13/cobra"
)

func versionCommand(a *shell.App) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version of the program and of the files it writes",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			v := study.Version(shell.Version(), runtime.Version())
			if a.AsJSON {
				return a.WriteJSON(v)
			}
			_, err := fmt.Fprintf(a.Stdout, "flourcast %s\nmodel files %s\n%s\n", v.Version, v.ModelSchema, v.Go)
			return err
		},
	}
}
