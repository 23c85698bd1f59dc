package trade

import (
	"os"
	"path/filepath"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/forecast"
	"flourcast/report"
	"flourcast/report/document"
	"flourcast/report/onepage"
	"flourcast/report/phrase"
	reportsuit "flourcast/report/suitability"
	"flourcast/report/wording"
	"flourcast/study/enduse"
	"flourcast/study/job"
	"flourcast/study/suitability"

	"github.com/spf13/cobra"
)

// Suit is the command.
func Suit(a *shell.App) *cobra.Command {
	var (
		q                                  suitability.Request
		files                              shell.Inputs
		out, paper, words, browser, method string
		limits, windows, references        []string
	)
	c := &cobra.Command{
		Use:   "suit LOT... --book DIR --for PRODUCT -o SHEET.html|SHEET.pdf",
		Short: "Write the page that tells a customer what a lot may be expected to give",
		Long: `suit writes a page a lot, HTML or PDF, for a customer: the lot's curve beside lots
that ran well and the customer's present flour (--against), what it is expected to
give and how sure that is, which test figures say so and what is published of them,
what was not checked, and the verdict on the model. With several --for, or --all, the
page ranks the products. Other lots are coded; prices, suppliers, coefficients and
names of the house are never on it. It is no certificate of analysis and no
guarantee. What the screen and --json print is for the house.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--book", q.Dir, "-o", out); err != nil {
				return err
			}
			format := strings.ToLower(filepath.Ext(out))
			if format != ".html" && format != ".pdf" {
				return &shell.UsageError{What: "-o " + out + ": the name of a sheet ends in .html or .pdf"}
			}
			size, ok := onepage.PaperNamed(paper)
			if !ok {
				return &shell.UsageError{What: "--paper " + paper + ": a4 or letter expected"}
			}
			language, err := catalogue(words)
			if err != nil {
				return err
			}
			q.Limits = map[string][]forecast.Spec{}
			for _, text := range limits {
				product, of, err := parted("--limits", text)
				if err != nil {
					return err
				}
				q.Limits[product] = append(q.Limits[product], of...)
			}
			for _, text := range windows {
				product, of, err := parted("--window", text)
				if err != nil {
					return err
				}
				q.Windows = append(q.Windows, enduse.Window{Product: product, Method: method, Limits: of})
			}
			if _, q.Methods, err = files.Load(); err != nil {
				return err
			}
			q.Lots = args
			for _, list := range references {
				q.References = append(q.References, shell.List(list)...)
			}
			res, err := suitability.Make(c.Context(), a.Env(), q)
			if err != nil {
				return err
			}
			o := onepage.Options{Paper: size, Language: language.Language(), Made: res.Made, Program: "flourcast " + shell.Version(), Browser: browser}
			docs := reportsuit.Sheets(res, language)
			if err := writeSheets(c, out, format, docs, o); err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return reportsuit.House(res, out) }); err != nil {
				return err
			}
			return a.Strictly(res.Short(), "a sheet says that its forecast must not be relied on")
		},
	}
	c.Flags().StringVar(&q.Dir, "book", "", "folder of the lab book")
	c.Flags().StringArrayVar(&q.Products, "for", nil, "product that the flour is for; may be repeated")
	c.Flags().BoolVar(&q.All, "all", false, "all products that have a model in the book, or a --window")
	c.Flags().StringVar(&q.Customer, "customer", "", "who the sheet is for; the specification of the book that holds today counts")
	c.Flags().StringVar(&q.Destination, "destination", "", "country that the flour goes to, by name or two-letter code")
	c.Flags().StringVar(&q.Against, "against", "", "lot that is the customer's present flour")
	c.Flags().StringArrayVar(&references, "reference", nil, "lots to compare with, A,B (without: those that ran well, or met the limits)")
	c.Flags().StringArrayVar(&limits, "limits", nil, "limits of a product instead of the customer's: 'PRODUCT:hardness_N=3.2..4.0'; may be repeated")
	c.Flags().StringArrayVar(&windows, "window", nil, "limits of test figures for a product without a model: 'PRODUCT:peak_mPas=2300..,protein_pct=..9.5'; may be repeated")
	c.Flags().BoolVar(&q.Production, "production", false, "windows from the production notes of the book as well: limits of the lots that ran well")
	c.Flags().StringVar(&method, "method", "", "pasting method of the windows")
	c.Flags().StringArrayVar(&q.Models, "model", nil, "row or hash of a model of the book, or a model file, instead of the latest; may be repeated")
	c.Flags().Float64Var(&q.Level, "level", 0.90, "level of the interval")
	c.Flags().StringVar(&paper, "paper", "a4", "a4 or letter")
	c.Flags().StringVar(&words, "words", "", "catalogue of another language (TOML); see DEVELOPERS.md")
	c.Flags().StringVar(&browser, "browser", "", "Chromium to print PDF with; none: the built-in printer (without: Chromium where there is one)")
	c.Flags().StringVarP(&out, "output", "o", "", "file of the sheets: .html or .pdf")
	c.Flags().StringArrayVar(&files.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	a.StrictFlag(c, "a sheet says that its forecast must not be relied on")
	return c
}

// writeSheets makes the file whole, then puts it in place.
func writeSheets(c *cobra.Command, out, format string, docs []document.Document, o onepage.Options) error {
	var data []byte
	var err error
	if format == ".html" {
		data, err = onepage.HTML(docs, o)
	} else {
		data, _, err = onepage.PDF(c.Context(), docs, o)
	}
	if err != nil {
		return err
	}
	return job.WriteWhole(out, data)
}

func catalogue(path string) (*wording.Catalogue, error) {
	if path == "" {
		return wording.English(), nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return wording.Parse(path, data, phrase.Names())
}
