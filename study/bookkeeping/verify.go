package bookkeeping

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/study/book"
	"flourcast/study/job"
)

// VerifyResult is what `verify` prints. Head is the hash of the last row: noted
// elsewhere, it shows later whether rows at the end are missing.
type VerifyResult struct {
	Schema      string               `json:"schema"`
	Book        string               `json:"book"`
	OK          bool                 `json:"ok"`
	Rows        int                  `json:"rows"`
	Head        string               `json:"head"`
	Originals   int                  `json:"originals"`
	Figures     int                  `json:"figures"` // derived figures that were worked out anew
	Partly      int                  `json:"partly"`  // forecasts of which only the value could be: they do not say how they were asked for
	Differences []labbook.Difference `json:"differences"`
}

// Verify recomputes the chain of hashes and every derived figure, and names what
// differs: rows against what their original gives when it is taken in anew, features
// of curves, models against their own hash, and stored forecasts (value, interval,
// probability, decision, class, contributions) against what their model says when it
// is asked the same again. The wording of reasons is not compared, and models are not
// fitted anew. head, if not empty, is a hash noted before: the book
// has to have a row with it.
func Verify(ctx context.Context, env job.Env, dir, head string) (*VerifyResult, error) {
	b, err := book.Open(ctx, dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	res := &VerifyResult{Schema: "flourcast.verify/1", Book: labbook.Shown(dir), Differences: []labbook.Difference{}}
	var chain []labbook.Difference
	if res.Rows, res.Head, chain, err = b.Store.Check(ctx); err != nil {
		return nil, err
	}
	res.Differences = append(res.Differences, chain...)
	err = b.Store.Read(ctx, func(v *labbook.View) error {
		c := &checker{ctx: ctx, env: env, b: b, v: v, res: res, models: map[string]modelled{}}
		if err := c.head(head); err != nil {
			return err
		}
		if err := c.originals(); err != nil {
			return err
		}
		if err := c.forecasts(); err != nil {
			return err
		}
		return c.outcomes()
	})
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(res.Differences, func(x, y labbook.Difference) int { return cmp.Compare(x.Row, y.Row) })
	res.OK = len(res.Differences) == 0
	return res, nil
}

type checker struct {
	ctx    context.Context
	env    job.Env
	b      *book.Book
	v      *labbook.View
	res    *VerifyResult
	models map[string]modelled
}

func (c *checker) differs(r labbook.Row, what, found, want string) {
	c.res.Differences = append(c.res.Differences, labbook.Difference{Row: r.ID, Kind: string(r.Kind), What: what, Found: found, Want: want})
}

func (c *checker) head(noted string) error {
	if noted == "" || noted == c.res.Head {
		return nil
	}
	for r, err := range c.v.Rows(labbook.Filter{Superseded: true, Bare: true}) {
		if err != nil {
			return err
		}
		if r.SHA256 == noted {
			return nil
		}
	}
	c.res.Differences = append(c.res.Differences, labbook.Difference{Kind: "book", What: "rows at the end", Found: "no row with the hash noted", Want: noted})
	return nil
}

// originals takes every original in anew and compares what comes with the rows.
func (c *checker) originals() error {
	all, err := c.v.All(labbook.Filter{Kinds: []labbook.Kind{labbook.Original}, Superseded: true})
	if err != nil {
		return err
	}
	progress := c.env.Report()
	progress.Start("taking originals in anew", len(all))
	defer progress.Done()
	for i, o := range all {
		progress.Step(1)
		if err := c.ctx.Err(); err != nil {
			return err
		}
		c.res.Originals++
		data, err := c.b.Store.Original(c.ctx, o.Source)
		if err != nil { // Check named it
			continue
		}
		s, err := book.ReadSettings(o)
		if err != nil {
			c.differs(o, "how the file was read", err.Error(), "settings that can be read")
			continue
		}
		got, err := s.Take(c.ctx, c.env.Cores, data)
		if err != nil {
			c.differs(o, "the file taken in anew", err.Error(), "its rows")
			continue
		}
		last := int64(math.MaxInt64)
		if i+1 < len(all) {
			last = all[i+1].ID
		}
		if err := c.rows(o, last, got.Units); err != nil {
			return err
		}
	}
	return nil
}

// rows compares the rows that were written with an original, between it and the next
// one, with its units.
func (c *checker) rows(o labbook.Row, end int64, units []intake.Unit) error {
	anew := map[string]intake.Unit{}
	for _, u := range units {
		anew[string(book.KindOf(u.Kind))+"\x1f"+u.Key] = u
	}
	for r, err := range c.v.Rows(labbook.Filter{Source: o.Source, Superseded: true}) {
		if err != nil {
			return err
		}
		if r.ID <= o.ID || r.ID >= end || r.Withdrawn {
			continue
		}
		had, err := book.Unit(r)
		if err != nil {
			c.differs(r, "payload", err.Error(), "one that can be read")
			continue
		}
		now, ok := anew[string(r.Kind)+"\x1f"+r.Key]
		switch {
		case !ok:
			c.differs(r, "entry "+book.Shown(r.Key), "not in the original", "the row as its original has it")
		case had.Content() != now.Content():
			c.differs(r, "cells of "+book.Shown(r.Key), had.Content(), now.Content())
		}
		if ok {
			c.figures(r, had.Figures, now.Figures)
		}
	}
	return nil
}

// figures compares the derived figures of a row.
func (c *checker) figures(r labbook.Row, had, now map[string]float64) {
	names := maps.Clone(had)
	maps.Copy(names, now)
	for _, id := range slices.Sorted(maps.Keys(names)) {
		c.res.Figures++
		a, inBook := had[id]
		b, anew := now[id]
		switch {
		case inBook && anew && same(a, b):
		case inBook && anew:
			c.differs(r, id, fmt.Sprint(a), fmt.Sprint(b))
		case inBook:
			c.differs(r, id, fmt.Sprint(a), "no figure")
		default:
			c.differs(r, id, "no figure", fmt.Sprint(b))
		}
	}
}

// same reports whether two figures agree to 1e-9 of their size: the last bits may
// depend on the processor.
func same(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))
}
