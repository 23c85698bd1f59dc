package fitting

import (
	"errors"
	"strconv"

	"flourcast/dataset/assembly"
	"flourcast/dataset/table"
	"flourcast/finding"
	"flourcast/study/job"
)

// Refusal gives the table's refusals their exit code: a column that is not there, or a
// choice that is not made, is the request's fault, no row left is the input's.
func Refusal(err error, found finding.List) error {
	var column *table.ColumnError
	var rows *assembly.RowsError
	var several *assembly.TreatmentsError
	switch {
	case errors.As(err, &several):
		return &job.RequestError{Found: err.Error(), Want: "a choice: treatment drives the curve and the result both, and so can pass for a relation between the two",
			Field: "treatment", Do: "take the lots of one treatment, such as where treatment=" + strconv.Quote(several.Kinds[0]) + ", or treatment as a factor"}
	case errors.As(err, &column):
		return &job.RequestError{Found: err.Error(), Want: "a column of the table", Do: "name one of its columns"}
	case errors.As(err, &rows):
		return &job.NothingUsableError{What: err.Error(), Findings: found}
	}
	return err
}
