package rule

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"flourcast/dataset/trait"
	"flourcast/finding"
)

// Columns are the header of a rules file, in the order in which it is written.
// A file may order them otherwise; r, n, ci_low, ci_high, when, conditions and
// remark may be missing.
var columns = []string{"id", "product", "feature", "solvent", "response", "kind", "sign", "standing",
	"r", "n", "ci_low", "ci_high", "when", "conditions", "evidence", "source", "remark"}

var optional = []string{"r", "n", "ci_low", "ci_high", "when", "conditions", "remark"}

// FileError says why a rules file cannot be read at all.
type FileError struct {
	At              finding.Place
	Found, Want, Do string
}

func (e *FileError) Error() string {
	return fmt.Sprintf("%s: found %s, expected %s; %s", e.At, e.Found, e.Want, e.Do)
}

// Parse reads direction rules from CSV text (UTF-8, comma, decimal point, #
// comments, the first row names the columns). solvent and response may list
// several with "|": each makes its own rule under the same id. Rules that are
// wrong come back as refused findings with row and column, and the others are
// read. A wrong header or encoding is a *FileError. A product or trait outside
// the glossary is a note: a laboratory has its own.
func Parse(name string, data []byte) ([]Rule, finding.List, error) {
	var fl finding.List
	refuse := func(row int, column, code, found, want, do string) {
		fl.Add(finding.Finding{Code: code, Severity: finding.Refused, At: finding.Place{File: name, Row: row, Column: column}, Found: found, Want: want, Do: do})
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if !utf8.Valid(data) {
		return nil, nil, &FileError{finding.Place{File: name}, "text that is not UTF-8", "UTF-8", "save the file as CSV UTF-8"}
	}
	r := csv.NewReader(bytes.NewReader(data))
	r.Comment, r.FieldsPerRecord = '#', -1
	header, err := r.Read()
	if err != nil {
		return nil, nil, &FileError{finding.Place{File: name}, "no header row", strings.Join(columns, ","), "write the column names in the first row"}
	}
	row, _ := r.FieldPos(0)
	at := map[string]int{}
	for i, h := range header {
		h = strings.ToLower(strings.TrimSpace(h))
		if _, twice := at[h]; twice || !slices.Contains(columns, h) {
			return nil, nil, &FileError{finding.Place{File: name, Row: row}, fmt.Sprintf("column %q", header[i]),
				"each of " + strings.Join(columns, ", ") + " once, separated by commas", "correct the first row"}
		}
		at[h] = i
	}
	for _, c := range columns {
		if _, ok := at[c]; !ok && !slices.Contains(optional, c) {
			return nil, nil, &FileError{finding.Place{File: name, Row: row}, "no column " + c, "the columns " + strings.Join(columns, ", "), "add it to the first row"}
		}
	}
	var rules []Rule
	seen := map[string]int{}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rules, fl, nil
		}
		if err != nil {
			row := 0
			if pe := (*csv.ParseError)(nil); errors.As(err, &pe) {
				row = pe.StartLine
			}
			refuse(row, "", "rules-row", err.Error(), "a row of comma-separated cells", "close the quotes")
			continue
		}
		row, _ := r.FieldPos(0)
		if len(cells) > len(header) {
			refuse(row, "", "rules-row", fmt.Sprint(len(cells), " cells"), fmt.Sprint(len(header), " as in the first row"), "put cells that hold a comma in quotes")
			continue
		}
		rule, bad := readRule(func(column string) string {
			if i, ok := at[column]; ok && i < len(cells) {
				return strings.TrimSpace(cells[i])
			}
			return ""
		})
		if bad == nil && seen[rule.ID] > 0 {
			bad = &badCell{"id", "rules-twice", rule.ID + ", as in row " + strconv.Itoa(seen[rule.ID]), "an id of its own", "rename one of them"}
		}
		if bad != nil {
			refuse(row, bad.column, bad.code, bad.found, bad.want, bad.do)
			continue
		}
		seen[rule.ID] = row
		fl = append(fl, unknownNames(rule, finding.Place{File: name, Row: row})...)
		for _, solvent := range list(string(rule.Solvent)) {
			for _, response := range list(rule.Response) {
				one := rule
				one.Solvent, one.Response = trait.Solvent(solvent), response
				rules = append(rules, one)
			}
		}
	}
}

// list splits a cell at its bars and drops repeats.
func list(cell string) []string {
	var out []string
	for _, v := range strings.Split(cell, "|") {
		if v = strings.TrimSpace(v); !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}

type badCell struct{ column, code, found, want, do string }

// readRule reads one row; solvent and response are still lists.
func readRule(cell func(string) string) (Rule, *badCell) {
	rule := Rule{ID: cell("id"), Product: cell("product"), Feature: cell("feature"), Solvent: trait.Solvent(cell("solvent")),
		Response: cell("response"), Kind: cell("kind"), Sign: cell("sign"), Standing: cell("standing"),
		When: cell("when"), Conditions: cell("conditions"), Evidence: cell("evidence"), Source: cell("source"), Remark: cell("remark")}
	if rule.Sign == "−" || rule.Sign == "–" { // minus sign and dash, as word processors write them
		rule.Sign = Falls
	}
	for _, c := range []string{"id", "product", "feature", "response", "source"} {
		if cell(c) == "" {
			return rule, &badCell{c, "rules-empty", "an empty cell", "a " + c, "fill it in"}
		}
	}
	for _, c := range []struct {
		column string
		cells  []string
		want   []string
	}{
		{"solvent", list(string(rule.Solvent)), []string{string(trait.Water), string(trait.Inhibitor), string(trait.Sucrose), string(Any)}},
		{"kind", []string{rule.Kind}, []string{Instrumental, Preference}},
		{"sign", []string{rule.Sign}, []string{Rises, Falls, None, Optimum}},
		{"standing", []string{rule.Standing}, []string{Established, Contested, Contextual}},
		{"evidence", []string{rule.Evidence}, []string{Read, SecondHand, CommonPractice, OwnData}},
	} {
		for _, v := range c.cells {
			if !slices.Contains(c.want, v) {
				return rule, &badCell{c.column, "rules-word", strconv.Quote(v), "one of " + strings.Join(c.want, ", "), "use one of these words"}
			}
		}
	}
	for _, v := range list(rule.Response) {
		if v == "" {
			return rule, &badCell{"response", "rules-empty", strconv.Quote(rule.Response), "names between the bars", "remove the bar that stands alone"}
		}
	}
	if _, err := ParseConditions(rule.When); err != nil {
		bad := err.(*ConditionError)
		return rule, &badCell{"when", "rules-when", strconv.Quote(bad.Found), "NAME>=FIGURE, NAME<=FIGURE, NAME=TEXT, NAME!=TEXT or within NAME", "correct or empty the cell"}
	}
	for _, c := range []struct {
		column string
		to     **float64
	}{{"r", &rule.R}, {"ci_low", &rule.CILow}, {"ci_high", &rule.CIHigh}} {
		if cell(c.column) == "" {
			continue
		}
		v, err := strconv.ParseFloat(strings.ReplaceAll(cell(c.column), "−", "-"), 64)
		if err != nil || !(math.Abs(v) <= 1) {
			return rule, &badCell{c.column, "rules-number", strconv.Quote(cell(c.column)), "a correlation between -1 and 1 with a decimal point", "correct or empty the cell"}
		}
		*c.to = &v
	}
	if s := cell("n"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 4 {
			return rule, &badCell{"n", "rules-number", strconv.Quote(s), "a whole number of lots, 4 or more", "correct or empty the cell"}
		}
		rule.N = &n
	}
	switch {
	case (rule.CILow == nil) != (rule.CIHigh == nil):
		return rule, &badCell{"ci_low", "rules-interval", "one limit of an interval", "both limits or none", "fill in or empty both"}
	case rule.CILow != nil && (rule.R == nil || *rule.CILow > *rule.R || *rule.R > *rule.CIHigh):
		return rule, &badCell{"ci_low", "rules-interval", fmt.Sprintf("%s to %s around r %q", cell("ci_low"), cell("ci_high"), cell("r")), "low ≤ r ≤ high", "correct the figures"}
	case rule.R != nil && (rule.Sign == Rises && *rule.R < 0 || rule.Sign == Falls && *rule.R > 0):
		return rule, &badCell{"sign", "rules-sign", fmt.Sprintf("sign %s with r %s", rule.Sign, cell("r")), "the sign of r", "correct one of them"}
	}
	return rule, nil
}

// unknownNames notes a product or trait that the glossary does not have.
func unknownNames(r Rule, at finding.Place) finding.List {
	var fl finding.List
	note := func(column, found string) {
		at.Column = column
		fl.Add(finding.Finding{Code: "rules-own-name", Severity: finding.Note, At: at, Found: found + ", which is not in the glossary",
			Do: "make sure that it is spelt as in your tables"})
	}
	if _, ok := trait.LookupProduct(r.Product); !ok {
		note("product", "product "+r.Product)
	}
	if _, ok := trait.Lookup(r.Feature); !ok {
		note("feature", "feature "+r.Feature)
	}
	for _, v := range list(r.Response) {
		if _, ok := trait.Lookup(v); !ok {
			note("response", "response "+v)
		}
	}
	return fl
}
