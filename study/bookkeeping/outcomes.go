package bookkeeping

import (
	"fmt"

	"flourcast/dataset/labbook"
	"flourcast/study/book"
)

// outcomes checks that outcome rows name what is there: their forecast, as it was
// written, and readings of the same lot.
func (c *checker) outcomes() error {
	all, err := c.v.All(labbook.Filter{Kinds: []labbook.Kind{labbook.Outcome}, Superseded: true})
	if err != nil {
		return err
	}
	for _, r := range all {
		if r.Withdrawn {
			continue
		}
		a, err := book.ReadAnswer(r)
		if err != nil {
			c.differs(r, "payload", err.Error(), "one that can be read")
			continue
		}
		f, err := c.v.All(labbook.Filter{IDs: []int64{a.Forecast}, Kinds: []labbook.Kind{labbook.Forecast}, Superseded: true, Bare: true})
		if err != nil {
			return err
		}
		c.res.Figures++
		if len(f) != 1 || f[0].SHA256 != r.Source || f[0].Lot != r.Lot {
			c.differs(r, "forecast that it answers", fmt.Sprintf("row %d", a.Forecast), "a forecast of the lot, with the hash that the row names")
		}
		had, err := c.v.All(labbook.Filter{IDs: a.Readings, Kinds: []labbook.Kind{labbook.Reading}, Lots: []string{r.Lot}, Superseded: true, Bare: true})
		if err != nil {
			return err
		}
		if len(had) != len(a.Readings) || len(had) == 0 {
			c.differs(r, "readings that it names", fmt.Sprintf("%d of %d", len(had), len(a.Readings)), "readings of the lot")
		}
	}
	return nil
}
