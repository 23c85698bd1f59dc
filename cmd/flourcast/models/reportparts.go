package models

import (
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/eval/verdict"
	"flourcast/report"
	reportbridging "flourcast/report/bridging"
	reportfollowing "flourcast/report/following"
	reporting "flourcast/report/operating"
	reportsurvey "flourcast/report/survey"
	"flourcast/study"
	"flourcast/study/bridging"
	"flourcast/study/choosing"
	"flourcast/study/following"
	"flourcast/study/operating"

	"github.com/spf13/cobra"
)

// reportParts are the chapters that a report carries when it is asked to: each is the
// document of the command of its name.
type reportParts struct {
	follow, production bool
	choose             int
	bridge, from, to   string
}

func (p *reportParts) add(c *cobra.Command) {
	f := c.Flags()
	f.BoolVar(&p.follow, "follow", false, "with --book: add the follow-up, and the incoming lots that wait for their measurement")
	f.BoolVar(&p.production, "production", false, "with --book: add the window from production notes")
	f.IntVar(&p.choose, "choose", 0, "with --book: add so many lots to measure next")
	f.StringVar(&p.bridge, "bridge", "", "add the comparison of two instruments, from this file of pasting figures")
	f.StringVar(&p.from, "from", "", "with --bridge: instrument whose figures are to be converted")
	f.StringVar(&p.to, "to", "", "with --bridge: instrument on whose scale the model stands")
}

// check refuses parts without what they are made from.
func (p *reportParts) check(book bool) error {
	switch {
	case !book && (p.follow || p.production || p.choose != 0):
		return &shell.UsageError{What: "--follow, --production and --choose read a lab book: give --book"}
	case p.choose < 0:
		return &shell.UsageError{What: fmt.Sprintf("--choose: found %d, expected a number of lots", p.choose)}
	case (p.bridge == "") != (p.from == "" && p.to == ""):
		return &shell.UsageError{What: "--bridge FILE goes with --from and --to"}
	}
	return nil
}

// chapters makes the parts that were asked for, each as its own document.
func (p *reportParts) chapters(c *cobra.Command, a *shell.App, q study.ReportRequest, book shell.Book) (out []report.Document, err error) {
	take := func(made []report.Document, fail error) {
		if out = append(out, made...); err == nil {
			err = fail
		}
	}
	if q.Spec != nil {
		take(windows(c, a, q))
	}
	if p.follow && err == nil {
		take(followUp(c, a, q))
	}
	if (p.production || p.choose > 0) && err == nil {
		take(p.fromTable(c, a, q, book))
	}
	if p.bridge != "" && err == nil {
		take(p.compared(a, q))
	}
	return out, err
}

// windows are the operating windows of a model: of peak viscosity, and with breakdown
// where the model has both. A model that is not fit for use has none.
func windows(c *cobra.Command, a *shell.App, q study.ReportRequest) ([]report.Document, error) {
	if q.Card.Verdict.Standing == verdict.NotFitForUse {
		none := report.Section{Heading: "Operating window", Blocks: []report.Block{report.Paragraph("None: the model is not fit for use.")}}
		return []report.Document{{Title: "Operating windows", Sections: []report.Section{none}}}, nil
	}
	var out []report.Document
	for _, by := range operating.Views(q.Card) {
		res, err := operating.FromModel(c.Context(), a.Env(), operating.Request{Model: q.Model, Card: q.Card, Spec: *q.Spec, By: by})
		if err != nil {
			return nil, err
		}
		out = append(out, reporting.Document(res))
	}
	return out, nil
}

func followUp(c *cobra.Command, a *shell.App, q study.ReportRequest) ([]report.Document, error) {
	res, err := following.Follow(c.Context(), a.Env(), following.Request{Model: q.Model, Book: q.Book, Unmeasured: true})
	if err != nil {
		return nil, err
	}
	return []report.Document{reportfollowing.Document(res)}, nil
}

// fromTable is what the book's joined lots give: the window from production notes, and
// the lots to measure next.
func (p *reportParts) fromTable(c *cobra.Command, a *shell.App, q study.ReportRequest, book shell.Book) ([]report.Document, error) {
	t, name, found, err := book.Table(c.Context(), a.Env(), nil, "")
	if err != nil {
		return nil, err
	}
	var out []report.Document
	if p.production {
		res, err := operating.FromProduction(operating.ProductionRequest{Table: t, File: name, TableFindings: found, RanWell: "ran", Product: q.Card.Product})
		if err != nil {
			return nil, err
		}
		out = append(out, reporting.Production(res))
	}
	if p.choose > 0 {
		records, err := following.BookForecasts(c.Context(), q.Book, "", "")
		if err != nil {
			return nil, err
		}
		res, err := choosing.Choose(a.Env(), choosing.Request{Table: name, Joined: t, Records: records, Model: q.Model, Card: q.Card, N: p.choose})
		if err != nil {
			return nil, err
		}
		out = append(out, reportsurvey.Next(res))
	}
	return out, nil
}

// compared is the comparison of two instruments; no bridge file is written.
func (p *reportParts) compared(a *shell.App, q study.ReportRequest) ([]report.Document, error) {
	res, err := bridging.Make(a.Env(), bridging.Request{File: p.bridge, From: p.from, To: p.to, Map: q.Map, Model: q.Model, Card: q.Card})
	if err != nil {
		return nil, err
	}
	return []report.Document{reportbridging.Document(res)}, nil
}
