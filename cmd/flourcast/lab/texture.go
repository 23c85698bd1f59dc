package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/protocol"
	"flourcast/dataset/sheet"
	"flourcast/report"
	reportpieces "flourcast/report/pieces"
	"flourcast/study"
	kept "flourcast/study/book"
	"flourcast/study/pieces"

	"github.com/spf13/cobra"
)

// protocolFlags are the flags of commands that read force curves.
type protocolFlags struct {
	protocol string
	files    []string
}

func (f *protocolFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.protocol, "protocol", "", "texture protocol of force curves whose file does not name it: noodle-two-bite, pasta-cutting, or one of --protocol-file")
	c.Flags().StringArrayVar(&f.files, "protocol-file", nil, "the laboratory's own texture protocol (TOML); may be repeated")
}

func (f *protocolFlags) load() (own []protocol.Protocol, err error) {
	for _, path := range f.files {
		p, err := protocol.Open(path)
		if err != nil {
			return nil, err
		}
		own = append(own, p)
	}
	return own, nil
}

// Texture is the command `texture`.
func Texture(a *shell.App) *cobra.Command {
	var q pieces.Request
	var flags protocolFlags
	var mapFile, out string
	var forces shell.Forces
	var book shell.Book
	c := &cobra.Command{
		Use:   "texture FILE...|--book DIR [--protocol ID] [-o report.html]",
		Short: "Read force curves: hardness, cohesiveness, springiness, adhesiveness and the rest",
		Long: `texture takes files of force curves, one record a file or many with a row a
point: lot, replicate, time_s, force_N, and distance_mm if there is one. It finds
the bites, takes the baseline off and prints the readings of each piece and the
mean of each lot. What a curve does not show is absent, with the reason. A
protocol says whether there are one or two bites, and which areas count.`,
		Args: book.Args(cobra.MinimumNArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			if err := forces.Check(); err != nil {
				return err
			}
			var err error
			if mapFile != "" {
				if q.Map, err = sheet.OpenMap(mapFile); err != nil {
					return err
				}
			}
			if q.Protocols, err = flags.load(); err != nil {
				return err
			}
			q.Paths, q.Protocol = args, flags.protocol
			if book.Given() {
				own, err := book.Files(c.Context(), shell.Inputs{Map: mapFile}, shell.List(q.Lot)...)
				if err != nil {
					return err
				}
				q.Map, q.Lot, q.Protocols = own.Map, "", kept.WithProtocols(q.Protocols, own.Protocols)
				if q.Paths, err = study.ForceCurves(own); err != nil {
					return err
				}
			}
			res, err := pieces.Texture(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return forces.In(reportpieces.Texture(res)) }); err != nil {
				return err
			}
			return a.Strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	flags.add(c)
	fl := c.Flags()
	fl.StringVar(&mapFile, "map", "", "import map (TOML) that says how to read the files")
	fl.StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it; with --book, the lots wanted: A,B")
	fl.StringVarP(&out, "output", "o", "", "HTML file to write besides, with the curves and what was measured on them")
	forces.Add(c)
	book.Add(c)
	a.StrictFlag(c, "a row is refused")
	return c
}
