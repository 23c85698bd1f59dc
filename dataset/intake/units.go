package intake

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"flourcast/dataset/control"
	"flourcast/dataset/lot"
	"flourcast/dataset/pasting"
	"flourcast/dataset/record"
	"flourcast/dataset/result"
	"flourcast/dataset/run"
	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// taker takes one file apart.
type taker struct {
	f    File
	m    *sheet.Map
	s    *sheet.Sheet
	grid table
	out  Taken
	nth  map[string]int // of units without a name, by content
}

func (t *taker) take(ctx context.Context, kind Kind) error {
	t.nth = map[string]int{}
	path := []string{t.f.Name}
	switch kind {
	case Lots:
		register := lot.NewRegister()
		_, _, found := register.Read(t.s)
		t.out.Findings = append(append(append(t.s.Findings(), t.s.HeaderFindings()...), found...), register.Check()...)
		t.eachRow(nil, "lot", "product", "whose", "scope", "parent_lot")
	case Runs:
		tests, _, found, err := record.ReadTests(path, t.m)
		if err != nil {
			return err
		}
		t.out.Findings = found
		t.tests(tests)
	case Curves:
		return t.curves(ctx, path)
	case Pasting:
		return t.values(ctx, path)
	case Texture:
		return t.texture(ctx, path)
	case Bakes:
		results, _, found, err := result.ReadBakes(path, result.Options{Map: t.m, BakeMethods: t.f.BakeMethods})
		if err != nil {
			return err
		}
		t.out.Findings = found
		t.readings(results)
	case Notes:
		_, _, found, err := record.ReadNotes(path, t.m)
		if err != nil {
			return err
		}
		t.out.Findings = found
		t.eachRow(func(u *Unit, _ int) bool { u.Named = false; return true }, "lot", "product")
	case Controls:
		_, _, found, err := control.ReadBatches(path, t.m)
		if err != nil {
			return err
		}
		t.out.Findings = found
		t.eachRow(nil, "lot", "method")
	case Events:
		_, _, found, err := control.ReadEvents(path, t.m)
		if err != nil {
			return err
		}
		t.out.Findings = found
		t.eachRow(nil, "tested_at", "instrument", "kind", "remarks")
	}
	return nil
}

// refused are the rows that a reader refused by a finding.
func (t *taker) refused() map[int]bool {
	out := map[int]bool{}
	for _, f := range t.out.Findings.With(finding.Refused) {
		out[f.At.Row] = true
	}
	return out
}

// eachRow makes a unit of every row that was not refused, known by the columns named.
// fill may complete the unit.
func (t *taker) eachRow(fill func(u *Unit, row int) bool, key ...string) {
	refused := t.refused()
	if refused[0] { // the whole file
		return
	}
	for row, bad := range t.s.Rows() {
		if bad != nil || refused[row.Number] {
			continue
		}
		u := Unit{Kind: t.out.Kind, Lot: t.text(row, "lot"), Product: t.text(row, "product"), Run: t.text(row, "run"), Named: true, Rows: []int{row.Number}}
		parts := make([]string, len(key))
		for i, column := range key {
			parts[i] = t.text(row, column)
		}
		u.Key = strings.Join(parts, "\x1f")
		if fill == nil || fill(&u, row.Number) {
			t.add(u)
		}
	}
}

// synonyms are other names of columns of the lots file.
var synonyms = map[string]string{"whose": "figures_by", "scope": "figures_for", "parent_lot": "parent"}

func (t *taker) text(row sheet.Row, column string) string {
	k := t.s.Column(column)
	if k < 0 && synonyms[column] != "" {
		k = t.s.Column(synonyms[column])
	}
	if k < 0 {
		return ""
	}
	return t.grid.cells[row.Number][k]
}

// add gives the unit its cells and, if nothing names it, a key of its content.
func (t *taker) add(u Unit) {
	u.File, u.Columns = t.f.Name, t.grid.columns
	for _, n := range u.Rows {
		u.Cells = append(u.Cells, t.grid.cells[n])
	}
	if !u.Named {
		content := u.Content()
		t.nth[content]++
		sum := sha256.Sum256([]byte(content))
		u.Key += fmt.Sprintf("\x1f%s\x1f%d", hex.EncodeToString(sum[:8]), t.nth[content])
	}
	t.out.Units = append(t.out.Units, u)
}

// tests are the rows of a runs file: known by their run, else by lot, method,
// replicate and date.
func (t *taker) tests(tests []record.Test) {
	byRow := map[int]record.Test{}
	for _, x := range tests {
		byRow[x.At.Row] = x
	}
	t.eachRow(func(u *Unit, row int) bool {
		x, ok := byRow[row]
		u.Named = x.Run != "" || x.Replicate != ""
		if x.Run != "" {
			u.Key = x.Run
		}
		u.Test = x.Kind == record.Control
		return ok
	}, "lot", "method", "replicate", "tested_at", "sample")
}

// curves are the runs of a curves file, with their features.
func (t *taker) curves(ctx context.Context, path []string) error {
	t.grid.with("lot", t.f.Lot)
	t.grid.with("method", t.f.Method)
	raw, _, _, err := record.ReadCurves(ctx, path, record.Options{Map: t.m, Method: t.f.Method, Lot: t.f.Lot, Cores: t.f.Cores})
	if err != nil {
		return err
	}
	runs, _, found, err := run.ReadCurves(ctx, path, run.Options{Map: t.m, Method: t.f.Method, Lot: t.f.Lot, Methods: t.f.Methods, Cores: t.f.Cores})
	if err != nil {
		return err
	}
	t.out.Findings = found
	read := map[int]run.Run{}
	for _, r := range runs {
		read[r.At.Row] = r
	}
	for i := range raw {
		r := read[raw[i].At.Row]
		if r.Fate == run.Refused || raw[i].Points == nil {
			continue
		}
		t.add(Unit{Kind: Curves, Key: identity(&raw[i]), Named: true, Lot: raw[i].Lot, Run: raw[i].Run, Rows: raw[i].Points.Row, Figures: figuresOf(r.Features)})
	}
	return nil
}

func figuresOf(f pasting.Features) map[string]float64 {
	out := map[string]float64{}
	for _, v := range f.Values() {
		out[v.ID] = v.Value
	}
	return out
}

// values are runs of which only feature values are left.
func (t *taker) values(ctx context.Context, path []string) error {
	t.grid.with("lot", t.f.Lot)
	t.grid.with("method", t.f.Method)
	raw, _, found, err := record.ReadValues(ctx, path, record.Options{Map: t.m, Method: t.f.Method, Lot: t.f.Lot})
	if err != nil {
		return err
	}
	t.out.Findings = found
	for i := range raw {
		r := &raw[i]
		features, found := pasting.FromValues(r.Figures.Values)
		for _, f := range found {
			t.out.Findings.Add(r.Figures.Placed(f))
		}
		t.out.Findings = append(t.out.Findings, r.Findings...)
		if r.Findings.Count(finding.Refused) > 0 || !features.OK() {
			continue
		}
		t.add(Unit{Kind: Pasting, Key: identity(r), Named: true, Lot: r.Lot, Run: r.Run, Rows: []int{r.At.Row}, Figures: figuresOf(features)})
	}
	return nil
}

// texture are readings, or force curves with the readings worked out of them.
func (t *taker) texture(ctx context.Context, path []string) error {
	results, _, found, err := result.ReadTexture(ctx, path, result.Options{Map: t.m, Protocols: t.f.Protocols, Cores: t.f.Cores})
	if err != nil {
		return err
	}
	t.out.Findings = found
	forces, _, err := record.SplitForces(ctx, path, t.m, t.f.Cores)
	if err != nil {
		return err
	}
	if len(forces) == 0 {
		t.readings(results)
		return nil
	}
	t.grid.with("lot", t.f.Lot)
	read := map[int]result.Result{}
	for _, r := range results {
		read[r.At.Row] = r
	}
	var raw []record.Run
	if _, _, err := record.EachForces(ctx, path, record.Options{Map: t.m, Lot: t.f.Lot}, func(_ int, runs []record.Run) error { raw = runs; return nil }); err != nil {
		return err
	}
	for i := range raw {
		r, ok := read[raw[i].At.Row]
		if !ok || r.Refused || raw[i].Points == nil {
			continue
		}
		t.add(Unit{Kind: Texture, Key: identity(&raw[i]), Named: true, Lot: raw[i].Lot, Product: raw[i].Product, Rows: raw[i].Points.Row, Figures: r.Values})
	}
	return nil
}

// readings are rows of texture or bake results. A row without a replicate number is
// known by what it says.
func (t *taker) readings(results []result.Result) {
	read := map[int]result.Result{}
	for _, r := range results {
		read[r.At.Row] = r
	}
	t.eachRow(func(u *Unit, row int) bool {
		r, ok := read[row]
		u.Named = r.Replicate != ""
		u.Key = string(t.out.Kind) + "\x1f" + u.Key
		return ok && !r.Refused
	}, "lot", "product", "protocol", "sample", "tested_at", "batch", "replicate")
}
