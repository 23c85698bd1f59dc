package dataset

import (
	"slices"
	"strings"

	"flourcast/dataset/record"
)

// readNotes reads how lots ran in production. A note whose lot is not known waits.
func (j *joiner) readNotes() error {
	if len(j.f.Production) == 0 {
		return nil
	}
	notes, c, fl, err := record.ReadNotes(j.f.Production, j.f.Map)
	if err != nil {
		return err
	}
	j.add(fl...)
	for _, n := range notes {
		if j.waits(n.Lot, "production", 1, n.At) {
			c = c.Plus(Counts{Read: 1, Waiting: 1})
			continue
		}
		c = c.Plus(Counts{Read: 1, Accepted: 1})
		j.notes = append(j.notes, n)
	}
	j.counted("production", c)
	return nil
}

// ran is what the notes say of a lot and product: trouble if it had any, and what;
// ok is false without a note. A note without a product holds for all.
func (j *joiner) ran(lot, product string) (ran, what string, ok bool) {
	ran = record.Well
	var troubles []string
	for _, n := range j.notes {
		if n.Lot != lot || n.Product != "" && product != "" && n.Product != product {
			continue
		}
		ok = true
		if n.Ran == record.Trouble {
			ran = record.Trouble
			if n.What != "" && !slices.Contains(troubles, n.What) {
				troubles = append(troubles, n.What)
			}
		}
	}
	return ran, strings.Join(troubles, "; "), ok
}
