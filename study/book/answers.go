package book

import (
	"context"
	"slices"

	"flourcast/dataset/labbook"
	"flourcast/dataset/trait"
	"flourcast/study/job"
)

// Answer is the payload of an outcome row: the forecast that it answers, and the rows
// of all readings of the response that were added behind it. Figures stay in the
// readings; jobs pool them as `join` does.
type Answer struct {
	Forecast int64   `json:"forecast"`
	Response string  `json:"response"`
	Readings []int64 `json:"readings"`
}

// ReadAnswer reads the payload of an outcome row.
func ReadAnswer(r labbook.Row) (a Answer, err error) {
	err = decode(r, &a)
	return a, err
}

// manyLots is how many lots are asked for at once.
const manyLots = 500

// KeepAnswers writes outcome rows for readings that were just added: one for every
// current forecast of their lots whose response they have, naming the forecast (by its
// hash as source, too) and the readings. Further readings of the same forecast give a
// row that stands in for the one before; a reading that corrects another takes its
// place.
func KeepAnswers(tx *labbook.Tx, env job.Env, readings []labbook.Row, operator string) error {
	of := map[string][]labbook.Row{}
	var lots []string
	for _, r := range readings {
		if r.Kind != labbook.Reading || r.Lot == "" {
			continue
		}
		if of[r.Lot] == nil {
			lots = append(lots, r.Lot)
		}
		of[r.Lot] = append(of[r.Lot], r)
	}
	for part := range slices.Chunk(lots, manyLots) {
		made, err := tx.All(labbook.Filter{Kinds: []labbook.Kind{labbook.Forecast}, Lots: part})
		if err != nil {
			return err
		}
		if len(made) == 0 {
			continue
		}
		before, err := answers(&tx.View, part...)
		if err != nil {
			return err
		}
		for _, f := range made {
			if err := keepAnswer(tx, env, f, of[f.Lot], before[f.ID], operator); err != nil {
				return err
			}
		}
	}
	return nil
}

func keepAnswer(tx *labbook.Tx, env job.Env, row labbook.Row, readings []labbook.Row, before answered, operator string) error {
	f, err := readForecast(row)
	if err != nil {
		return err
	}
	a := Answer{Forecast: row.ID, Response: f.Of.Response, Readings: slices.Clone(before.Readings)}
	for _, r := range readings {
		has, err := measures(r, a.Response)
		if err != nil {
			return err
		}
		if !has || r.Product != "" && row.Product != "" && r.Product != row.Product {
			continue
		}
		if k := slices.Index(a.Readings, r.Corrects); k >= 0 {
			a.Readings[k] = r.ID
		} else {
			a.Readings = append(a.Readings, r.ID)
		}
	}
	if slices.Equal(a.Readings, before.Readings) {
		return nil
	}
	r := Row(env, labbook.Outcome, operator)
	r.Key, r.Lot, r.Product, r.Source = row.Key, row.Lot, row.Product, row.SHA256
	if before.row != 0 {
		r.Corrects, r.Reason = before.row, "further readings"
	}
	if r.Payload, err = encode(a); err != nil {
		return err
	}
	_, err = tx.Add(r)
	return err
}

// measures reports whether a reading has a figure of the response.
func measures(r labbook.Row, response string) (bool, error) {
	u, err := Unit(r)
	if err != nil {
		return false, err
	}
	if _, ok := u.Figures[response]; ok {
		return true, nil
	}
	for k, c := range u.Columns {
		if id, _ := trait.Split(c); (c == response || id == response) && slices.ContainsFunc(u.Cells, func(cells []string) bool { return cells[k] != "" }) {
			return true, nil
		}
	}
	return false, nil
}

// answered is a current outcome row.
type answered struct {
	Answer
	row int64
}

// answers are the current outcome rows of lots, or all, by the forecast that they
// answer.
func answers(v *labbook.View, lots ...string) (map[int64]answered, error) {
	out := map[int64]answered{}
	for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{labbook.Outcome}, Lots: lots}) {
		if err != nil {
			return nil, err
		}
		a, err := ReadAnswer(r)
		if err != nil {
			return nil, err
		}
		out[a.Forecast] = answered{a, r.ID}
	}
	return out, nil
}

// Answered are the rows of the current outcomes by the row of the forecast that they
// answer.
func (b *Book) Answered(ctx context.Context) (map[int64]int64, error) {
	out := map[int64]int64{}
	err := b.Store.Read(ctx, func(v *labbook.View) error {
		all, err := answers(v)
		for forecast, a := range all {
			out[forecast] = a.row
		}
		return err
	})
	return out, err
}
