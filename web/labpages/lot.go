package labpages

import (
	"context"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"flourcast/dataset/run"
	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/report/chart"
	reportcurve "flourcast/report/curve"
	"flourcast/report/lotcard"
	"flourcast/report/phrase"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/comparison"
	"flourcast/study/following"
	"flourcast/study/measurement"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

// features are the runs of some lots with their curves.
func features(d *desk.Desk, ctx context.Context, lots ...string) (*study.FeaturesResult, error) {
	return desk.Of(ctx, d, desk.Data, "curves "+strings.Join(lots, "\x00"), func(ctx context.Context) (*study.FeaturesResult, error) {
		files, err := study.BookFiles(ctx, d.Dir, lots...)
		if err != nil {
			return nil, err
		}
		if len(files.Curves) == 0 {
			return &study.FeaturesResult{}, nil
		}
		return study.Features(ctx, d.Env, study.FeaturesRequest{Paths: files.Curves, Map: files.Map, Pictures: true})
	})
}

// behind is what the curves of reference lots span, to be drawn behind a lot's.
func behind(d *desk.Desk, ctx context.Context, lot, method string) (*reportcurve.Span, error) {
	return desk.Of(ctx, d, desk.Asked, "behind "+method+"\x00"+lot, func(ctx context.Context) (span *reportcurve.Span, err error) {
		joined, err := d.Joined(ctx)
		if err != nil {
			return nil, nil // nothing was measured yet: there are no reference lots
		}
		err = d.Book(ctx, func(b *book.Book) error {
			all, err := comparison.Over(ctx, d.Env, b, joined, []string{lot})
			if err != nil {
				return err
			}
			c, by, err := all.Behind(ctx, lot, method)
			if err != nil || c == nil {
				return err
			}
			span = &reportcurve.Span{Lots: c.Lots, Of: chosen[by], TimeS: c.TimeS, Low: c.LowMPas, High: c.HighMPas}
			return nil
		})
		return span, err
	})
}

// chosen says how reference lots were chosen.
var chosen = map[string]string{comparison.ByProduction: "ran well in production", comparison.ByLimits: "met the specification"}

// sessions are a lot's runs by session, with the laboratory's repeatability.
func sessions(d *desk.Desk, ctx context.Context, lot string, runs []study.RunFeatures, all bool) ([]report.Section, error) {
	joined, err := d.Joined(ctx)
	if err != nil {
		return nil, err
	}
	rep, err := desk.Of(ctx, d, desk.Data, "repeatability", func(ctx context.Context) (*study.RepeatabilityResult, error) {
		res, err := study.Repeatability(ctx, d.Env, study.RepeatabilityRequest{Read: joined})
		if err != nil && desk.Code(err) != http.StatusInternalServerError {
			return nil, nil // no duplicates: no repeatability
		}
		return res, err
	})
	if err != nil {
		return nil, err
	}
	own, aside := measurement.OfLot(joined, rep, lot)
	if len(own) == 0 {
		own = waiting(runs)
		aside = slices.DeleteFunc(aside, func(a measurement.AsideOfLot) bool { return a.Why == string(run.Waiting) })
	}
	return lotcard.Features(own, aside, all), nil
}

// waiting are sessions of runs that the join does not read yet, by method.
func waiting(runs []study.RunFeatures) (out []measurement.SessionOfLot) {
	var methods []string
	names, figures := map[string][]string{}, map[string][]map[string]float64{}
	for _, r := range runs {
		if len(r.Features) == 0 {
			continue
		}
		if names[r.Method] == nil {
			methods = append(methods, r.Method)
		}
		names[r.Method], figures[r.Method] = append(names[r.Method], "replicate "+r.Replicate), append(figures[r.Method], r.Features)
	}
	for _, m := range methods {
		out = append(out, measurement.Waiting(m, names[m], figures[m]))
	}
	return out
}

// oneLotView is what the head of a lot's page is filled with.
type oneLotView struct {
	Lot, With, Span           string
	Figure, Picture, Features string // addresses
	Before, After             string // lots
	Curves                    bool
}

func oneLot(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	ctx, lot := r.Context(), r.PathValue("lot")
	lots, err := bookkeeping.Lots(ctx, d.Dir)
	if err != nil {
		return err
	}
	v := oneLotView{Lot: lot, With: r.FormValue("with"), Features: lotAddress(lot) + "/features"}
	known := false
	for i, l := range lots.Lots {
		if l.Lot != lot {
			continue
		}
		if known = true; i > 0 && v.Before == "" && lots.Lots[i-1].Lot != lot {
			v.Before = lots.Lots[i-1].Lot
		}
		if i+1 < len(lots.Lots) {
			v.After = lots.Lots[i+1].Lot
		}
	}
	if !known && !slices.ContainsFunc(lots.Waiting, func(l bookkeeping.LotLine) bool { return l.Lot == lot }) {
		return &desk.NotFoundError{What: "Lot " + lot}
	}
	runs, err := features(d, ctx, lot)
	if err != nil {
		return err
	}
	_, span, err := overlay(d, ctx, lot, v.With)
	if err != nil && desk.Code(err) == http.StatusInternalServerError {
		return err
	}
	if v.Curves = err == nil; span != nil {
		v.Span = span.Name()
	}
	query := "?" + url.Values{"with": {v.With}}.Encode()
	v.Figure, v.Picture = lotAddress(lot)+"/curves"+query, lotAddress(lot)+"/picture"+query
	head, err := d.Fill(r, forms, "lot", v)
	if err != nil {
		return err
	}
	joined, err := d.Joined(ctx)
	if err != nil && desk.Code(err) == http.StatusInternalServerError {
		return err
	}
	made, err := following.OfLot(ctx, d.Env, d.Dir, lot, joined)
	if err != nil {
		return err
	}
	further, err := d.Fill(r, forms, "go", v)
	if err != nil {
		return err
	}
	decided, err := decisions(d, ctx, lot)
	if err != nil {
		return err
	}
	decide, err := decideForm(d, r, lot)
	if err != nil {
		return err
	}
	decide.Fold = "Write down what was done with it"
	page := frame.Page{Title: "Lot " + lot, Here: "/lots", Parts: []frame.Part{further, of(append([]report.Section{lotcard.Forecasts(made)}, decided...)...), head}}
	if v.Curves {
		table := of(reportcurve.Points(runs.Runs, span))
		table.Fold = "The curves as a table"
		page.Parts = append(page.Parts, table)
	}
	page.Parts = append(page.Parts, decide)
	if joined != nil {
		sections, err := sessions(d, ctx, lot, runs.Runs, false)
		if err != nil {
			return err
		}
		page.Parts = append(page.Parts, of(sections...))
	}
	if len(runs.Runs) > 0 {
		page.Parts = append(page.Parts, of(reportcurve.Conformity(runs.Runs)))
	}
	if joined != nil {
		page.Parts = append(page.Parts, frame.Of(lotcard.About(lot, joined.Table)))
	}
	log, err := bookkeeping.Log(ctx, bookkeeping.LogRequest{Dir: d.Dir, Lot: lot})
	if err != nil {
		return err
	}
	trail := frame.Of(trailOf(log))
	trail.Fold = "Its trail: " + phrase.Plural(len(log.Lines), "row") + " of the lab book"
	page.Parts = append(page.Parts, trail)
	return d.Show(w, r, page)
}

// of is a part of some sections.
func of(sections ...report.Section) frame.Part {
	return frame.Of(report.Document{Sections: sections})
}

func trailOf(log *bookkeeping.LogResult) report.Document {
	doc := reportbook.Log(log)
	for i := range doc.Sections {
		doc.Sections[i].Heading = "Trail"
	}
	doc.Meta = nil
	return doc
}

// reference is how many lots may be laid behind one.
const reference = 49

// overlay is the figure of a lot's curves: over those of the lots in with or, without,
// over what the curves of reference lots span.
func overlay(d *desk.Desk, ctx context.Context, lot, with string) (fig chart.Figure, span *reportcurve.Span, err error) {
	own, err := features(d, ctx, lot)
	if err != nil {
		return fig, nil, err
	}
	method := ""
	for _, r := range own.Runs {
		if method == "" {
			method = r.Method
		}
	}
	var same []study.RunFeatures
	if names := wanted(with, lot); len(names) > 0 {
		others, err := features(d, ctx, names...)
		if err != nil {
			return fig, nil, err
		}
		same = slices.DeleteFunc(slices.Clone(others.Runs), func(run study.RunFeatures) bool { return run.Method != method })
	} else if span, err = behind(d, ctx, lot, method); err != nil {
		return fig, nil, err
	}
	fig, ok := reportcurve.Overlay(own.Runs, same, span, "curves")
	if !ok {
		return fig, nil, &desk.NotFoundError{What: "A curve of lot " + lot}
	}
	return fig, span, nil
}

// lotCurves is the figure of a lot's curves as data.
func lotCurves(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	fig, _, err := overlay(d, r.Context(), r.PathValue("lot"), r.FormValue("with"))
	if err != nil {
		return err
	}
	return desk.JSON(w, fig)
}

// lotPicture is the same as a picture, for whoever has no scripts.
func lotPicture(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	fig, _, err := overlay(d, r.Context(), r.PathValue("lot"), r.FormValue("with"))
	if err != nil {
		return err
	}
	svg, err := chart.SVG(fig)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	_, err = w.Write(svg)
	return err
}

// wanted reads the lots to lay behind: names parted by commas or blanks.
func wanted(text, but string) []string {
	var out []string
	for _, name := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' }) {
		if name != but && !slices.Contains(out, name) && len(out) < reference {
			out = append(out, name)
		}
	}
	return out
}

// lotFeatures is each run of a lot by itself: picture, features, conformity.
func lotFeatures(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	lot := r.PathValue("lot")
	runs, err := features(d, r.Context(), lot)
	if err != nil {
		return err
	}
	if len(runs.Runs) == 0 {
		return &desk.NotFoundError{What: "A curve of lot " + lot}
	}
	page := frame.Page{Title: "Runs of lot " + lot, Lead: "Every feature with its repeatability; then each run with its picture, its features and how it kept to its method.", Here: "/lots"}
	if all, err := sessions(d, r.Context(), lot, runs.Runs, true); err == nil {
		page.Parts = append(page.Parts, of(all...))
	}
	page.Parts = append(page.Parts, frame.Of(reportcurve.Page(runs)))
	return d.Show(w, r, page)
}
