package shell

import (
	"flourcast/report"
	"flourcast/report/force"

	"github.com/spf13/cobra"
)

// Forces is the unit in which a command shows forces.
type Forces struct{ unit string }

// Add gives a command its flag.
func (f *Forces) Add(c *cobra.Command) {
	c.Flags().StringVar(&f.unit, "force", "N", "unit in which forces are shown: N or gf; --json and tables are always in N")
}

// Check returns a *UsageError for another unit.
func (f *Forces) Check() error {
	if err := force.Check(f.unit); err != nil {
		return &UsageError{What: "--force: " + err.Error()}
	}
	return nil
}

// In is the document in the unit; Check came first.
func (f *Forces) In(d report.Document) report.Document { return force.In(d, f.unit) }
