// Package trade has the commands of technical sales: blends, price against performance,
// a lot for several products, models taken away.
//
// Each parses its flags, calls one function of study and shows its result. It computes
// nothing.
package trade

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast"
	"flourcast/report"
	reportblending "flourcast/report/blending"
	"flourcast/study"
	"flourcast/study/blending"
	"flourcast/study/bookstock"

	"github.com/spf13/cobra"
)

// Blend is the command.
func Blend(a *shell.App) *cobra.Command {
	var (
		q                                  blending.Request
		files                              shell.Inputs
		book                               shell.Book
		limits, shares, allow, flours, out string
	)
	c := &cobra.Command{
		Use:   "blend STOCK.csv|--book DIR --flours LOT,… --limits 'peak_mPas=2300..2500,protein_pct=9.8..' --mixing linear|log|measured",
		Short: "Find the flours and shares that meet limits at least cost, and set the blend's run against the plan",
		Long: `blend takes a stock file (flour, price, stock_t and properties) and gives the
cheapest shares that meet the limits: what binds, what relaxing it by one unit would
save, what the blend is expected to have. Protein, moisture, ash and the liquefaction
number (of falling number) mix exactly; pasting figures by the rule asked for, or as the
laboratory's own blends did (--mixing measured --blends FILE). Where nothing is feasible
it names the limits that conflict and exits with 3.

With --book the lab book's own blends teach the rule, and figures that the stock file
does not have are the book's. Without a stock file --flours names lots of the book, with
a price each where the book has none or another: 'A=352.50,B'.

Make the blend and run it before you promise it: --measured-run FILE then sets the run
against the plan, of the recipe found or of --shares 'A=0.6,B=0.4'.`,
		Args: book.Args(cobra.ExactArgs(1), cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			for _, path := range args {
				q.Stock = path
			}
			q.Book = book.Dir
			if q.Flours, err = readFlours(flours); err != nil {
				return err
			}
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Limits, err = specs("--limits", limits); err != nil {
				return err
			}
			if q.Shares, err = readShares(shares); err != nil {
				return err
			}
			if c.Flags().Changed("max-flours") && q.MaxFlours < 1 {
				return &shell.UsageError{What: "--max-flours: found " + strconv.Itoa(q.MaxFlours) + ", expected 1 or more"}
			}
			q.Allow = shell.List(allow)
			res, err := blending.Blend(c.Context(), a.Env(), q)
			var nothing *study.NothingUsableError
			if errors.As(err, &nothing) && res != nil { // the conflict is worth showing
				if err := a.ShowBoth(out, res, func() report.Document { return reportblending.Document(res) }); err != nil {
					return err
				}
				return &study.NothingUsableError{What: nothing.What}
			}
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return reportblending.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(!res.Feasible || res.RowsRefused > 0, "the blend does not meet its limits, or a row was refused")
		},
	}
	files.Add(c)
	book.Add(c)
	f := c.Flags()
	f.StringVar(&flours, "flours", "", "with --book: its lots that may go into the blend, instead of a stock file: A,B, or A=352.50 with a price per tonne")
	f.StringVar(&limits, "limits", "", "limits of the blend: 'peak_mPas=2300..2500,protein_pct=9.8..'")
	f.StringVar(&q.Mixing, "mixing", blending.Linear, "how pasting figures mix: linear, log, or measured (by own blends)")
	f.StringVar(&q.Blends, "blends", "", "own blends that were made and run: rows of lots with figures, of which some name parent_lot and share")
	f.StringVar(&q.Lineage, "lineage", "", "lots file with parent_lot and share, where the --blends file does not have them")
	f.Float64Var(&q.Confidence, "confidence", 0, "with --blends: draw the limits in so that a blend keeps each with this probability")
	f.IntVar(&q.MaxFlours, "max-flours", 0, "largest number of flours in the blend")
	f.Float64Var(&q.MinShare, "min-share", 0, "least share of a flour that is used, such as 0.1")
	f.Float64Var(&q.Tonnes, "tonnes", 0, "tonnes wanted: each flour within its stock")
	f.Float64Var(&q.SproutBelowS, "sprouted-below", 0, "falling number, s, below which a flour counts as sprouted (250)")
	f.StringVar(&allow, "allow", "", "use, and flag, flours whose pastes do not mix: waxy, sprouted")
	f.StringVar(&shares, "shares", "", "no search: what a blend of these shares is expected to have: 'A=0.6,B=0.4'")
	f.StringVar(&q.Ratio, "ratio", "", "set out every ratio of two flours as well: 'A:B', or auto for the two largest of the blend")
	f.StringArrayVar(&q.Run, "measured-run", nil, "curves or values of the blend once made: predicted against measured")
	f.StringVar(&q.Lot, "lot", "", "with --measured-run: the blend's lot in the file")
	f.StringVar(&q.Method, "method", "", "pasting method of the figures of --book and of --measured-run")
	f.StringVarP(&out, "output", "o", "", "page to write (HTML)")
	a.StrictFlag(c, "the blend does not meet its limits, or a row is refused")
	return c
}

// readFlours reads 'A=352.50,B'; nothing is none.
func readFlours(text string) ([]bookstock.Flour, error) {
	var out []bookstock.Flour
	for _, part := range shell.List(text) {
		name, price, priced := strings.Cut(part, "=")
		f := bookstock.Flour{Name: strings.TrimSpace(name), Price: strings.TrimSpace(price)}
		if f.Name == "" || priced && f.Price == "" {
			return nil, &shell.UsageError{What: fmt.Sprintf("--flours: found %q, expected LOT or LOT=PRICE, such as A=352.50", part)}
		}
		out = append(out, f)
	}
	return out, nil
}

// specs reads 'A=1..2,B=3..'.
func specs(flag, text string) ([]forecast.Spec, error) {
	var out []forecast.Spec
	for _, part := range shell.List(text) {
		s, err := forecast.ParseSpec(part)
		if err != nil {
			return nil, &shell.UsageError{What: flag + ": " + err.Error()}
		}
		out = append(out, s)
	}
	return out, nil
}

// readShares reads 'A=0.6,B=0.4'; nothing is none.
func readShares(text string) (map[string]float64, error) {
	parts := shell.List(text)
	if len(parts) == 0 {
		return nil, nil
	}
	out := map[string]float64{}
	for _, part := range parts {
		k := strings.LastIndex(part, "=")
		if k < 1 {
			return nil, &shell.UsageError{What: fmt.Sprintf("--shares: found %q, expected FLOUR=SHARE, such as A=0.6", part)}
		}
		name := strings.TrimSpace(part[:k])
		v, err := strconv.ParseFloat(strings.TrimSpace(part[k+1:]), 64)
		if err != nil {
			return nil, &shell.UsageError{What: fmt.Sprintf("--shares: found %q, expected a share such as 0.6", part[k+1:])}
		}
		if _, twice := out[name]; twice {
			return nil, &shell.UsageError{What: "--shares: " + name + " stands twice"}
		}
		out[name] = v
	}
	return out, nil
}
