package sheet

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"flourcast/dataset/layout"
	"flourcast/dataset/trait"
)

// OpenMap reads an import map from a file; see ParseMap.
func OpenMap(path string) (*Map, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, &layout.Error{File: path, Found: err.Error(), Want: "an import map that can be read", Do: "check path and permissions"}
	}
	return ParseMap(path, data)
}

// ParseMap reads an import map and holds its column names and units against the
// glossary; name stands in its errors. The error joins one *layout.Error for
// each fault.
func ParseMap(name string, data []byte) (*Map, error) {
	m, err := layout.Parse(name, data)
	if err != nil {
		return nil, err
	}
	var faults []error
	for _, block := range m.Blocks() {
		for i, c := range block.Columns {
			at := strings.TrimPrefix(fmt.Sprintf("%s.column[%d]", block.Path, i), ".")
			faults = append(faults, checkColumn(m, at, c))
		}
	}
	if err := errors.Join(faults...); err != nil {
		return nil, err
	}
	return m, nil
}

// checkColumn refuses a name that the glossary writes otherwise, a bare setback,
// and a unit that does not fit. A name of the laboratory's own has no unit.
func checkColumn(m *Map, at string, c layout.Column) error {
	if t, ok := trait.Lookup(c.Name); ok {
		var bad *trait.UnitError // the only error there is
		if _, err := t.In(c.Unit); errors.As(err, &bad) {
			return m.Fault(at, "unit", bad.Problem(), bad.Want, "")
		}
		return nil
	}
	h, err := trait.ParseHeader(c.Name, "")
	var many *trait.AmbiguousError
	found := fmt.Sprintf("%q", c.Name)
	switch {
	case err == nil:
		return m.Fault(at, "name", found, "the canonical name "+h.Trait.ID, "state the unit of the file by unit")
	case errors.As(err, &many):
		return m.Fault(at, "name", found, strings.Join(many.Choices, " or "), "")
	case c.Unit != "":
		return m.Fault(at, "unit", fmt.Sprintf("%q for the name %q, which is not in the glossary", c.Unit, c.Name), "no unit", "convert by factor if need be")
	}
	return nil
}
