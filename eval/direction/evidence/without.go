package evidence

// Without is the evidence without one lot. It shares nothing that anyone writes.
func (e Evidence) Without(lot string) Evidence {
	var rows []int
	for i, l := range e.Lots {
		if l != lot {
			rows = append(rows, i)
		}
	}
	column := func(c FeatureColumn) FeatureColumn {
		c.X, c.Present = at(c.X, rows), at(c.Present, rows)
		return c
	}
	out := e
	out.Lots, out.Y, out.Year = at(e.Lots, rows), at(e.Y, rows), at(e.Year, rows)
	out.Features = make([]FeatureColumn, len(e.Features))
	for k, c := range e.Features {
		out.Features[k] = column(c)
	}
	if e.Protein != nil {
		p := column(*e.Protein)
		out.Protein = &p
	}
	if e.Labels != nil {
		out.Labels = make(map[string][]string, len(e.Labels))
		for name, values := range e.Labels {
			out.Labels[name] = at(values, rows)
		}
	}
	return out
}

// at picks rows; nil stays nil.
func at[T any](from []T, rows []int) []T {
	if from == nil {
		return nil
	}
	out := make([]T, len(rows))
	for k, i := range rows {
		out[k] = from[i]
	}
	return out
}
