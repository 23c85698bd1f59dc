package trade

import (
	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast/money"
	"flourcast/report"
	reportoffers "flourcast/report/offers"
	"flourcast/study/offers"

	"github.com/spf13/cobra"
)

// Price is the command.
func Price(a *shell.App) *cobra.Command {
	var (
		q                                offers.Request
		files                            shell.Inputs
		book                             shell.Book
		spec, out                        string
		hold, reject, refund, waterPrice string
	)
	c := &cobra.Command{
		Use:   "price MODEL.json FILE...|--book DIR --lot LOT,… --prices PRICES.csv --spec RESPONSE=LOW..HIGH",
		Short: "Set the price of flours against what they are expected to do: the cost of a tonne that conforms",
		Long: `price forecasts the lots (curves, pasting values or a table) and ranks them by the
expected cost of a tonne that meets the spec, with what a held and a failing tonne
cost by your figures. It says at which price each lot would come first, and which
lots no other beats in both price and probability (the frontier). With --per dough
and a column water_absorption_pct the cost is that of a tonne of dough.

Prices are decimal numbers in any one currency, in --prices (lot, price, currency)
or in the --lots file. With --book the lots of the lab book named by --lot are forecast,
and nothing is written into it; prices are those of the book, or of --prices. MODEL is
then a file, or the row of a model in the book; --customer takes its specification of
today.`,
		Args: book.Args(cobra.MinimumNArgs(2), cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			var err error
			f := &q.Forecast
			f.Model, f.Paths = args[0], args[1:]
			if f.Map, f.Methods, err = files.Load(); err != nil {
				return err
			}
			if book.Given() {
				if files.Map != "" || f.Lots != "" {
					return &shell.UsageError{What: "--map and --lots do not go with --book: the book has its rows as they were read when they were added"}
				}
				q.Book, q.Lots, f.Lot = book.Dir, shell.List(f.Lot), ""
			} else if q.Customer != "" {
				return &shell.UsageError{What: "--customer takes the limits from --book, instead of --spec"}
			}
			if q.Customer == "" || spec != "" {
				if err := shell.Required("--spec", spec); err != nil {
					return err
				}
				var err error
				if f.Spec, err = shell.Spec(spec); err != nil {
					return err
				}
			}
			for _, x := range []struct {
				flag, text string
				to         *money.Amount
			}{{"--hold-cost", hold, &q.Costs.Hold}, {"--reject-cost", reject, &q.Costs.Reject}, {"--refund", refund, &q.Costs.Refund}, {"--water-price", waterPrice, &q.Costs.Water}} {
				if *x.to, err = money.Parse(x.text, '.'); err != nil || x.to.Sign() < 0 {
					return &shell.UsageError{What: x.flag + ": found " + x.text + ", expected a decimal number of 0 or more"}
				}
			}
			res, err := offers.Compare(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			if err := a.ShowBoth(out, res, func() report.Document { return reportoffers.Document(res) }); err != nil {
				return err
			}
			return a.Strictly(res.Refused > 0 || len(res.Candidates) == 0 || res.Candidates[0].Rank == 0, "no lot could be ranked, or a price was refused")
		},
	}
	files.Add(c)
	book.Add(c)
	f := c.Flags()
	f.StringVar(&q.Customer, "customer", "", "with --book: whose specification, as the book has it for today")
	f.StringVar(&q.Prices, "prices", "", "prices: lot, price, currency, water_absorption_pct (default: the --lots file, or the book's)")
	f.StringVar(&q.Forecast.Lots, "lots", "", "lots file, for models that use flour analysis such as protein")
	f.StringVar(&q.Forecast.Lot, "lot", "", "lot of a curve whose file does not name it; with --book, the lots to compare: A,B")
	f.StringVar(&spec, "spec", "", "limits of the response: 'hardness_N=3.2..4.0', '3.2..' or '..4.0'")
	f.StringVar(&hold, "hold-cost", "0", "what a tonne that is held costs (test, storage), in the currency of the prices")
	f.StringVar(&reject, "reject-cost", "0", "what a tonne that fails costs beside its price (freight, complaint, downgrading)")
	f.StringVar(&refund, "refund", "0", "share of the price that comes back for a tonne that fails, 0 to 1")
	f.StringVar(&waterPrice, "water-price", "0", "price of a tonne of water, for --per dough")
	f.StringVar(&q.Per, "per", offers.PerFlour, "rank by the cost of a tonne of flour or of dough")
	f.StringVarP(&out, "output", "o", "", "page to write (HTML)")
	a.StrictFlag(c, "no lot can be ranked, or a price is refused")
	return c
}
