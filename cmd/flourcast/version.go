package main

import (
	"fmt"
	"runtime"

	"flourcast/study"

	"github.com/spf13/cobra"
)

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the version of the program and of the files it writes",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			v := study.Version(version(), runtime.Version())
			if a.asJSON {
				return a.writeJSON(v)
			}
			_, err := fmt.Fprintf(a.stdout, "flourcast %s\nmodel files %s\n%s\n", v.Version, v.ModelSchema, v.Go)
			return err
		},
	}
}
