// Package newlots has the commands that use what was learnt on lots that were not
// part of it: forecast, validate, window, bands, follow, choose and bridge. A file a
// command; each parses, calls and shows.
package newlots

import (
	"os"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast"
	"flourcast/forecast/conformance"
	"flourcast/report"
	"flourcast/study"
	"flourcast/study/bridging"

	"github.com/spf13/cobra"
)

// Forecast is the command `forecast`.
func Forecast(a *shell.App) *cobra.Command {
	var (
		q           study.ForecastRequest
		files       shell.Inputs
		spec, bands string
		keep        string
		bridgeFile  string
		alpha, beta float64
		book        shell.Book
		inBook      study.BookForecastRequest
		forces      shell.Forces
	)
	c := &cobra.Command{
		Use:   "forecast MODEL.json FILE...|--book DIR [--lot LOT,…]",
		Short: "Forecast new lots from their curves, with an interval and a decision",
		Long: `forecast reads curves, pasting values or a table, and lots and runs files beside
them; the columns of a file tell what it is. It gives each lot a value, an interval,
whether it lies inside what the model was calibrated on, which features moved it off
the average lot and, with a spec, accept, hold or reject: accept where the lot fails
with probability alpha at most, reject where it meets the spec with probability beta
at most. It supports a decision; it releases nothing.
With --book the lots of the lab book are forecast, and the forecasts written down in
it as they were made; MODEL is then a file, or the row of a model in the book.`,
		Args: book.Args(cobra.MinimumNArgs(2), cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			err := forces.Check()
			if err != nil {
				return err
			}
			if q.Map, q.Methods, err = files.Load(); err != nil {
				return err
			}
			if q.Spec, err = shell.Spec(spec); err != nil {
				return err
			}
			rule, err := conformance.NewRule(alpha, beta)
			if err != nil {
				return &shell.UsageError{What: "--alpha, --beta: " + err.Error()}
			}
			q.Rule = &rule
			if q.Bands, err = readBands(bands); err != nil {
				return err
			}
			if bridgeFile != "" {
				if q.Bridge, err = bridging.Read(bridgeFile); err != nil {
					return err
				}
			}
			q.Model, q.Paths = args[0], args[1:]
			made := func(take func(forecast.Forecast) error) (*study.ForecastResult, error) {
				return study.EachForecast(c.Context(), a.Env(), q, take)
			}
			if book.Given() {
				if files.Map != "" || q.Lots != "" {
					return &shell.UsageError{What: "--map and --lots do not go with --book: the book has its rows as they were read when they were added"}
				}
				inBook.ForecastRequest, inBook.Dir, inBook.Wanted = q, book.Dir, shell.List(q.Lot)
				inBook.Lot = ""
				made = func(take func(forecast.Forecast) error) (*study.ForecastResult, error) {
					return study.EachBookForecast(c.Context(), a.Env(), inBook, take)
				}
			}
			res, err := showForecasts(a, made, keep, &forces)
			if err != nil {
				return err
			}
			return a.Strictly(res.Short() || res.Refused > 0, "a lot was held or rejected, or a row refused")
		},
	}
	files.Add(c)
	book.Add(c)
	forces.Add(c)
	c.Flags().StringVar(&inBook.Customer, "customer", "", "with --book: whose specification, as the book has it for today")
	c.Flags().StringVar(&inBook.Operator, "operator", "", "with --book: who forecasts, as it shall stand in the book")
	c.Flags().BoolVar(&inBook.Unrecorded, "unrecorded", false, "with --book: do not write the forecasts down")
	c.Flags().StringVar(&q.Lots, "lots", "", "lots file, for models that use flour analysis such as protein")
	c.Flags().StringVar(&q.Lot, "lot", "", "lot of a curve whose file does not name it; with --book, the lots to forecast: A,B")
	c.Flags().StringVar(&spec, "spec", "", "limits of the response: 'hardness_N=3.2..4.0', '3.2..' or '..4.0'")
	c.Flags().Float64Var(&q.Level, "level", 0.90, "level of the interval")
	c.Flags().StringVar(&bands, "bands", "", "named classes of the response: 'hardness_N=soft bite..3.2..firm bite', or a TOML file")
	c.Flags().Float64Var(&alpha, "alpha", 0.05, "largest risk of accepting a lot that fails the spec")
	c.Flags().Float64Var(&beta, "beta", 0.05, "largest risk of rejecting a lot that meets the spec")
	c.Flags().StringVar(&bridgeFile, "bridge", "", "bridge file, for lots run on another instrument than the model's; see bridge")
	c.Flags().StringVar(&keep, "keep", "", "file to keep the forecasts in (JSON), for follow to set outcomes against; never overwritten")
	a.StrictFlag(c, "a lot is held or rejected")
	return c
}

// lotsOnPage is how many lots the tables of one page of text have.
const lotsOnPage = 500

// showForecasts writes forecasts as they are asked for: to the file to keep, if one is
// named, and as JSON, of which none is kept in memory, or as text.
func showForecasts(a *shell.App, made func(take func(forecast.Forecast) error) (*study.ForecastResult, error), keep string, forces *shell.Forces) (*study.ForecastResult, error) {
	out := shell.NewLongJSON("forecasts")
	defer out.Close()
	var shown []forecast.Forecast // as text
	res, err := made(func(f forecast.Forecast) error {
		if !a.AsJSON {
			shown = append(shown, f)
		}
		if a.AsJSON || keep != "" {
			return out.Add(f)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if keep != "" {
		if err := out.Keep(keep, res); err != nil {
			return nil, err
		}
	}
	if a.AsJSON {
		return res, out.Write(a.Stdout, res)
	}
	res.Forecasts = shown
	return res, a.ShowPages(func(yield func(report.Document) bool) {
		for d := range report.ForecastPages(res, lotsOnPage) {
			if !yield(forces.In(d)) {
				return
			}
		}
	})
}

// readBands reads --bands: a file where there is one, else the bands themselves.
func readBands(text string) (*forecast.Bands, error) {
	if text == "" {
		return nil, nil
	}
	var b forecast.Bands
	var err error
	if strings.HasSuffix(text, ".toml") {
		data, readErr := os.ReadFile(text)
		if readErr != nil {
			return nil, readErr
		}
		b, err = forecast.ParseBandsFile(text, data)
	} else {
		b, err = forecast.ParseBands(text)
	}
	if err != nil {
		return nil, &shell.UsageError{What: "--bands: " + err.Error()}
	}
	return &b, nil
}
