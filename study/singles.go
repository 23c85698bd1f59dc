package study

import (
	"context"
	"maps"
	"slices"

	"flourcast/dataset"
	"flourcast/dataset/column"
	"flourcast/dataset/labbook"
	"flourcast/dataset/record"
	"flourcast/dataset/table"
	"flourcast/finding"
	"flourcast/study/pieces"
)

// ForceCurves are the texture files of a book that have curves, not results.
func ForceCurves(f dataset.Files) (curves []string, err error) {
	for _, path := range f.Texture {
		var fl finding.List
		s, ok, err := record.Open(path, f.Map, &fl)
		if err != nil {
			return nil, err
		}
		if ok && s.Column("force_N") >= 0 {
			curves = append(curves, path)
		}
	}
	return curves, nil
}

// BookReadings are the single texture and bake readings of the lab book in dir, a row
// each: lot, product, protocol, batch, treatment, day and replicate, and a column for
// every figure that any of them has, in the unit of its name. The error is a
// *NothingUsableError without a reading.
func BookReadings(ctx context.Context, env Env, dir string) (*table.Table, finding.List, error) {
	files, err := BookFiles(ctx, dir)
	if err != nil {
		return nil, nil, err
	}
	curves, err := ForceCurves(files)
	if err != nil {
		return nil, nil, err
	}
	results := slices.DeleteFunc(slices.Concat(files.Texture, files.Bakes), func(path string) bool { return slices.Contains(curves, path) })
	read, _, fl, err := record.ReadReadings(results, files.Map)
	if err != nil {
		return nil, nil, err
	}
	var rows []single
	for _, r := range read {
		rows = append(rows, single{[]string{r.Lot, r.Product, r.Protocol, r.Batch, r.Treatment, day(r.TestedAt), r.Replicate}, r.Figures.Values})
	}
	if len(curves) > 0 {
		res, err := pieces.Texture(ctx, env, pieces.Request{Paths: curves, Map: files.Map})
		if err != nil {
			return nil, nil, err
		}
		for _, p := range res.Runs {
			fl = append(fl, p.Findings...)
			if len(p.Readings) > 0 && p.Lot != "" {
				rows = append(rows, single{[]string{p.Lot, p.Product, p.Protocol, p.Batch, "", day(p.TestedAt), p.Replicate}, p.Readings})
			}
		}
		fl = append(fl, res.Findings...)
	}
	if len(rows) == 0 {
		return nil, nil, &NothingUsableError{What: labbook.Shown(dir) + ": no texture or bake reading in the lab book", Findings: fl}
	}
	t, err := tableOf(rows)
	return t, fl, err
}

// single is one reading: what tells it from others, in the order of labels, and its
// figures.
type single struct {
	labels  []string
	figures map[string]float64
}

var labels = []string{"lot", "product", "protocol", "batch", "treatment", "day", "replicate"}

func tableOf(rows []single) (*table.Table, error) {
	names := map[string]bool{}
	for _, r := range rows {
		for id := range r.figures {
			names[id] = true
		}
	}
	var columns []column.Column
	for k, label := range labels {
		cells := make([]string, len(rows))
		for i, r := range rows {
			cells[i] = r.labels[k]
		}
		columns = append(columns, column.Text(label, cells))
	}
	for _, id := range slices.Sorted(maps.Keys(names)) {
		values, present := make([]float64, len(rows)), make([]bool, len(rows))
		for i, r := range rows {
			values[i], present[i] = r.figures[id]
		}
		columns = append(columns, column.Numbers(id, values, present))
	}
	return table.New("lot", columns...)
}

// day is the day of a date that may have the time behind it.
func day(testedAt string) string { return testedAt[:min(len(testedAt), len("2006-01-02"))] }
