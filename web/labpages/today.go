package labpages

import (
	"context"
	"net/http"
	"slices"
	"strconv"

	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/report/following"
	"flourcast/report/measurement"
	"flourcast/study"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/web/desk"
	"flourcast/web/frame"
	"flourcast/work"
)

var todayPage = desk.Page{Path: "/", Title: "today", Routes: map[string]desk.Handler{
	"GET /{$}":     today,
	"GET /control": controlCharts,
	"GET /trail":   trail,
}}

// latest is how many forecasts and arrivals today shows, lately how many lines of the
// trail are put together for the arrivals.
const (
	latest = 12
	lately = 1000
)

func today(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	look := report.Section{Heading: "What needs a look"}
	var made report.Document
	var forecasts []book.Forecast
	var answered map[int64]int64
	err := d.Book(r.Context(), func(b *book.Book) (err error) {
		forecasts, err = b.Forecasts(r.Context(), book.Filter{})
		made = reportbook.Forecasts(forecasts, latest)
		if err == nil {
			answered, err = b.Answered(r.Context())
		}
		return err
	})
	if err != nil {
		return err
	}
	var flour report.Block
	var states []following.State
	err = work.Each(r.Context(), 2, d.Env.Cores, func(i int) (err error) { // each takes a second when the book has changed
		if i == 0 {
			flour = controlState(d, r.Context())
		} else {
			states, err = modelStates(d, r.Context(), forecasts)
		}
		return err
	})
	if err != nil {
		return err
	}
	look.Blocks = append(look.Blocks, flour)
	if len(states) > 0 {
		look.Blocks = append(look.Blocks, following.States(states))
	}
	lots, err := bookkeeping.Lots(r.Context(), d.Dir)
	if err != nil {
		return err
	}
	if len(lots.Waiting) > 0 {
		waiting := reportbook.Lots(&bookkeeping.LotsResult{Book: lots.Book, Waiting: lots.Waiting})
		for _, s := range waiting.Sections {
			for _, b := range s.Blocks {
				if t, ok := b.(*report.Table); !ok || len(t.Rows) > 0 {
					look.Blocks = append(look.Blocks, b)
				}
			}
		}
	}
	if open := bookkeeping.Undecided(lots.Lots, forecasts, answered); len(open) > 0 {
		look.Blocks = slices.Insert(look.Blocks, 1, report.Block(reportbook.Undecided(open)))
	}
	log, err := bookkeeping.Log(r.Context(), bookkeeping.LogRequest{Dir: d.Dir, Limit: lately})
	if err != nil {
		return err
	}
	in := report.Section{Heading: "What came in last", Blocks: []report.Block{reportbook.Arrivals(bookkeeping.Arrivals(log.Lines), latest)}}
	doc := report.Document{Sections: slices.Concat([]report.Section{look, in}, made.Sections)}
	links, err := d.Fill(r, forms, "today", nil)
	if err != nil {
		return err
	}
	part := frame.Of(doc)
	part.Links.Row = func(table, first string) string {
		switch table {
		case "forecasts", "undecided", "waiting":
			return lotAddress(first)
		case "states":
			return "/follow?model=" + first
		}
		return ""
	}
	part.Links.Also = map[string][]string{"states": {"response", "state"}}
	return d.Show(w, r, frame.Page{Title: "Today", Lead: "What came in, and what needs a look.", Here: "/", Parts: []frame.Part{links, part}})
}

// modelStates is the follow-up of each model whose forecasts have outcomes. A model that
// cannot be followed is left to its own page, which says why.
func modelStates(d *desk.Desk, ctx context.Context, forecasts []book.Forecast) ([]following.State, error) {
	models, err := d.Models(ctx)
	if err != nil {
		return nil, err
	}
	var out []following.State
	for _, m := range models {
		if !slices.ContainsFunc(forecasts, func(f book.Forecast) bool { return f.Model == m.Card.SHA256 }) {
			continue
		}
		res, err := d.Follow(ctx, strconv.FormatInt(m.ID, 10))
		switch {
		case err != nil && desk.Code(err) == http.StatusInternalServerError:
			return nil, err
		case err == nil && res.Counts.Followed > 0:
			out = append(out, following.State{Row: m.ID, Of: res})
		}
	}
	return out, nil
}

// control is what the control flour says of the whole book.
func control(d *desk.Desk, ctx context.Context) (*study.ControlResult, error) {
	return desk.Of(ctx, d, desk.Data, "control", func(ctx context.Context) (*study.ControlResult, error) {
		if joined, err := d.Joined(ctx); err == nil {
			return study.Control(ctx, d.Env, study.ControlRequest{Read: joined})
		}
		files, err := study.BookFiles(ctx, d.Dir) // no lot yet that was measured
		if err != nil {
			return nil, err
		}
		return study.Control(ctx, d.Env, study.ControlRequest{Files: files})
	})
}

// controlState is how the control flour stands, in a box; without control runs the reason
// why there is none.
func controlState(d *desk.Desk, ctx context.Context) report.Block {
	res, err := control(d, ctx)
	if err != nil {
		return report.Callout{Kind: report.Notice, Title: "Control flour", Text: err.Error()}
	}
	return measurement.State(res)
}

func controlCharts(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	res, err := control(d, r.Context())
	if err != nil {
		return err
	}
	doc := measurement.Control(res)
	return d.Show(w, r, frame.Page{Title: doc.Title, Lead: doc.Subtitle, Here: "/", Parts: []frame.Part{frame.Of(doc)}})
}

func trail(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	log, err := bookkeeping.Log(r.Context(), bookkeeping.LogRequest{Dir: d.Dir, Lot: r.FormValue("lot"), Limit: 500})
	if err != nil {
		return err
	}
	doc := reportbook.Log(log)
	return d.Show(w, r, frame.Page{Title: "The trail", Lead: "Every row of the lab book: who wrote it when, from what, correcting what. The last 500.", Here: "/", Parts: []frame.Part{frame.Of(doc)}})
}
