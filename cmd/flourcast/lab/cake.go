package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/baking"
	"flourcast/dataset/sheet"
	"flourcast/report"
	reportcakes "flourcast/report/cakes"
	kept "flourcast/study/book"
	"flourcast/study/cakes"

	"github.com/spf13/cobra"
)

// Cake is the command `cake`.
func Cake(a *shell.App) *cobra.Command {
	var q cakes.Request
	var mapFile, out string
	var own []string
	var book shell.Book
	c := &cobra.Command{
		Use:   "cake FILE...|--book DIR [--method ID] [-o report.html]",
		Short: "Read measured cakes: volume, template indices, shrinkage, loss",
		Long: `cake takes files with a row for each cake: lot, replicate, the heights A_mm to
E_mm of the cut through the middle (left edge, left, centre, right, right edge),
mass_g, and seed_volume_mL (seed displaced) or container_volume_mL with
seed_beside_mL. It works out volume, specific volume, volume, symmetry and
uniformity index, and shrinkage, batter specific gravity and baking loss where
their measures are there. A bake method gives the pan and the batter.`,
		Args: book.Args(cobra.MinimumNArgs(1), cobra.NoArgs),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			if mapFile != "" {
				if q.Map, err = sheet.OpenMap(mapFile); err != nil {
					return err
				}
			}
			if q.Methods, err = readBakeMethods(own); err != nil {
				return err
			}
			q.Paths = args
			if book.Given() {
				own, err := book.Files(c.Context(), shell.Inputs{Map: mapFile})
				if err != nil {
					return err
				}
				q.Paths, q.Map, q.Methods = own.Bakes, own.Map, kept.WithBakeMethods(q.Methods, own.BakeMethods)
			}
			res, err := cakes.Cake(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := shell.WriteHTML(out, reportcakes.Cake(res)); err != nil {
					return err
				}
			}
			if err := a.Show(res, func() report.Document { return reportcakes.Cake(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Counts.Refused > 0, "rows were refused")
		},
	}
	book.Add(c)
	fl := c.Flags()
	fl.StringVar(&mapFile, "map", "", "import map (TOML) that says how to read the files")
	fl.StringVar(&q.Method, "method", "", "bake method of rows whose protocol names none: layer-203, layer-federal, sponge, or one of --method-file")
	fl.StringArrayVar(&own, "method-file", nil, "the laboratory's own bake method (TOML, family bake); may be repeated")
	fl.StringVarP(&out, "output", "o", "", "HTML file to write besides, with the cakes' outline")
	a.StrictFlag(c, "a row is refused")
	return c
}

func readBakeMethods(paths []string) (out []baking.Method, err error) {
	for _, path := range paths {
		m, err := baking.Open(path)
		if err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, nil
}
