package lab

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/baking"
	"flourcast/dataset/dayshift"
	"flourcast/report"
	"flourcast/study"

	"github.com/spf13/cobra"
)

// Join is the command `join`.
func Join(a *shell.App) *cobra.Command {
	var q study.JoinRequest
	var files shell.Inputs
	var policy, bakes []string
	var texture protocolFlags
	var thick float64
	var book shell.Book
	var forces shell.Forces
	c := &cobra.Command{
		Use:   "join --lots F [--runs F] --curves F... [--pasting F] [--texture F] [--bakes F] [--production F] | --book DIR -o TABLE.csv",
		Short: "Join curves, texture and bake results lot by lot into one table",
		Long: `join reads a laboratory's files and writes one table: a row for each lot and
product, features by method, replicates as mean, n, SD and standard error.
Every row read is accepted, waiting (its lot or run is not known yet) or
refused with the reason; nothing is dropped silently. Runs of a day on which the
control flour was out of control are doubted, or refused by --control-policy refuse.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := shell.Required("-o", q.Out); err != nil {
				return err
			}
			if err := forces.Check(); err != nil {
				return err
			}
			var err error
			if q.Policy, err = policyOf(policy); err != nil {
				return err
			}
			if q.Files.Protocols, err = texture.load(); err != nil {
				return err
			}
			q.Files.Protocol = texture.protocol
			if q.Files.BakeMethods, err = readBakeMethods(bakes); err != nil {
				return err
			}
			if err = book.Fill(c.Context(), &q.Files, files); err != nil {
				return err
			}
			if _, ok := baking.Find(q.Files.BakeMethods, q.Files.BakeMethod); !ok && q.Files.BakeMethod != "" {
				return &shell.UsageError{What: "--bake-method: no bake method " + q.Files.BakeMethod + " is built in or given by --bake-method-file"}
			}
			if c.Flags().Changed("thickness-to") {
				q.ThicknessMM = &thick
			}
			if len(q.Files.Lots) == 0 {
				return &shell.UsageError{What: "join needs --lots"}
			}
			if len(q.Files.Curves) == 0 && len(q.Files.Pasting) == 0 {
				return &shell.UsageError{What: "join needs --curves or --pasting"}
			}
			res, err := study.Join(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return forces.In(report.Join(res)) }); err != nil {
				return err
			}
			return a.Strictly(res.Refused > 0, "rows were refused")
		},
	}
	files.Add(c)
	book.Add(c)
	fl := c.Flags()
	fl.StringArrayVar(&q.Files.Lots, "lots", nil, "lots file; may be repeated")
	fl.StringArrayVar(&q.Files.Runs, "runs", nil, "runs file")
	fl.StringArrayVar(&q.Files.Curves, "curves", nil, "curve files")
	fl.StringArrayVar(&q.Files.Pasting, "pasting", nil, "feature values without curves")
	fl.StringArrayVar(&q.Files.Texture, "texture", nil, "texture readings, or their force curves")
	fl.StringArrayVar(&q.Files.Bakes, "bakes", nil, "bake results")
	fl.StringVar(&q.Files.BakeMethod, "bake-method", "", "bake method of cakes whose file names none that is known")
	fl.StringArrayVar(&bakes, "bake-method-file", nil, "the laboratory's own bake method (TOML); may be repeated")
	fl.StringArrayVar(&q.Files.Production, "production", nil, "notes of how lots ran in production: well or trouble, and what")
	addControlFiles(c, &q.Files)
	fl.StringVar(&q.ControlPolicy, "control-policy", "warn", "runs of a day whose control flour is out of control: warn or refuse")
	fl.StringVar(&q.DayControl.Lot, "day-control", "", "lot cooked or baked on every day: shifts each day's texture and bake results by how far the control lay off on it")
	fl.StringVar((*string)(&q.DayControl.How), "day-control-by", string(dayshift.Difference), "how the day control shifts: difference or ratio")
	fl.StringVar(&q.Files.Method, "method", "", "method of curves whose file does not name it")
	fl.StringSliceVar(&q.Pool, "pool", nil, "fields that may differ between pooled runs: instrument, water …")
	fl.StringVarP(&q.Out, "output", "o", "", "table to write (CSV)")
	fl.Float64Var(&thick, "thickness-to", 0, "bring forces and work to this thickness of the cooked strand, mm, by the slope within lots")
	texture.add(c)
	forces.Add(c)
	addPolicy(c, &policy)
	a.StrictFlag(c, "a row is refused")
	return c
}
