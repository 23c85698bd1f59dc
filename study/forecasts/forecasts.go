// Package forecasts reads what was forecast at the time, from the files that were
// kept of it.
//
//  1. A JSON file holds one or more saved results of `forecast --json`; any other
//     file is a sheet with a row a forecast: lot, value, lower, upper, level,
//     response, time, model, decision, domain.
//  2. Every forecast is a Record, whatever it came from; one that cannot be used is
//     refused with a finding. Records and refused add up to what was read.
//  3. First picks the forecast of a lot that counts: the earliest with a value.
//
// It refuses a figure that is no number, an interval upside down, and a forecast
// without a lot; it forecasts nothing.
package forecasts

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"flourcast/dataset/cell"
	"flourcast/dataset/sheet"
	"flourcast/finding"
)

// Record is one forecast as it was made. Level is what the interval holds. Made is
// zero, Model (the SHA-256 of the model file) and the words empty, where the file
// does not tell.
type Record struct {
	At       finding.Place
	Lot      string
	Response string
	Product  string
	Value    *float64
	Low      *float64
	High     *float64
	Level    float64
	Made     time.Time
	Model    string
	Decision string
	Domain   string
	Spec     string // as it was set against, in the form of forecast.ParseSpec; "" for none
	Outcome  int64  // row of the outcome that answers it in a lab book; 0 for none
}

// maxFile is the most that is read of a JSON file, in bytes.
const maxFile = 256 << 20

// Read reads the files in their order. The error is of a file that cannot be opened;
// anything else is a finding.
func Read(paths []string, m *sheet.Map) (out []Record, refused int, fl finding.List, err error) {
	for _, path := range paths {
		info, err := os.Stat(path)
		if err != nil {
			return nil, 0, nil, err
		}
		if info.Size() > maxFile {
			fl.Add(finding.Finding{Code: "file-too-large", Severity: finding.Refused, At: finding.Place{File: path}, Found: fmt.Sprintf("more than %d MB", maxFile>>20), Want: "less", Do: "split the file"})
			continue
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, 0, nil, err
		}
		r, n := parse(path, data, m, &fl)
		out, refused = append(out, r...), refused+n
	}
	return out, refused, fl, nil
}

// parse reads the bytes of one file; name is used in places.
func parse(name string, data []byte, m *sheet.Map, fl *finding.List) (out []Record, refused int) {
	take := func(r Record) {
		if bad := r.check(); bad != nil {
			bad.At = r.At
			fl.Add(*bad)
			refused++
			return
		}
		out = append(out, r)
	}
	if head := bytes.TrimLeft(data, "\ufeff \t\r\n"); len(head) > 0 && head[0] == '{' {
		saved(name, head, fl, take)
		return out, refused
	}
	s, err := sheet.Read(name, data, m)
	if err != nil {
		var unreadable *sheet.Error
		if errors.As(err, &unreadable) {
			fl.Add(unreadable.Finding())
		}
		return nil, 0
	}
	*fl = append(*fl, s.Findings()...)
	rows(s, fl, take, &refused)
	return out, refused
}

// result is what is read of a saved result; it may hold more.
type result struct {
	Schema   string    `json:"schema"`
	Product  string    `json:"product"`
	Response string    `json:"response"`
	Made     time.Time `json:"made"`
	SHA256   string    `json:"model_sha256"`
	Lots     []struct {
		Lot      string   `json:"lot"`
		Response string   `json:"response"`
		Value    *float64 `json:"value"`
		Low      *float64 `json:"low"`
		High     *float64 `json:"high"`
		Level    float64  `json:"level"`
		Held     float64  `json:"interval_level"`
		Decision string   `json:"decision"`
		Domain   string   `json:"domain"`
		Spec     string   `json:"spec"`
	} `json:"forecasts"`
}

const schema = "flourcast.forecast/1"

// saved reads the results in a JSON file, one after the other.
func saved(name string, data []byte, fl *finding.List, take func(Record)) {
	d := json.NewDecoder(bytes.NewReader(data))
	for n := 1; ; n++ {
		var r result
		err := d.Decode(&r)
		if errors.Is(err, io.EOF) {
			return
		}
		found := ""
		switch {
		case err != nil:
			found = fmt.Sprintf("result %d is no JSON of forecasts (%v)", n, err)
		case r.Schema != schema:
			found = fmt.Sprintf("schema %q", r.Schema)
		}
		if found != "" {
			fl.Add(finding.Finding{Code: "forecasts-not-read", Severity: finding.Refused, At: finding.Place{File: name}, Found: found, Want: fmt.Sprintf("%q", schema), Do: "name the file that 'forecast --json' was saved to"})
			if err != nil {
				return
			}
			continue
		}
		for i, f := range r.Lots {
			rec := Record{At: finding.Place{File: name, Column: fmt.Sprintf("forecast %d of result %d", i+1, n)}, Lot: f.Lot, Response: f.Response, Product: r.Product,
				Value: f.Value, Low: f.Low, High: f.High, Level: f.Level, Made: r.Made.UTC(), Model: r.SHA256, Decision: f.Decision, Domain: f.Domain, Spec: f.Spec}
			if f.Held > 0 {
				rec.Level = f.Held
			}
			if rec.Response == "" {
				rec.Response = r.Response
			}
			take(rec)
		}
	}
}

// rows reads a sheet of forecasts.
func rows(s *sheet.Sheet, fl *finding.List, take func(Record), refused *int) {
	// By the names as they stand: a forecast's "time" is no time of a curve.
	at := func(names ...string) int {
		return slices.IndexFunc(s.Columns, func(c sheet.Column) bool { return slices.Contains(names, strings.ToLower(c.Name)) })
	}
	lot, value, low, high, level := at("lot"), at("value", "forecast"), at("lower", "low"), at("upper", "high"), at("level")
	response, product, made, model := at("response"), at("product"), at("time", "made"), at("model", "model_sha256")
	decision, domain, spec := at("decision"), at("domain"), at("spec", "specification")
	if lot < 0 || value < 0 {
		fl.Add(finding.Finding{Code: "forecasts-not-read", Severity: finding.Refused, At: finding.Place{File: s.File, Row: 1}, Found: "no column lot or no column value", Want: "lot, value, lower, upper, level, response, time, model", Do: "name the columns so, or map them"})
	}
	for row, bad := range s.Rows() {
		if bad != nil {
			fl.Add(*bad)
			*refused++
			continue
		}
		r := Record{At: s.Place(row, -1)}
		r.Lot, _ = s.Text(row, lot)
		r.Response, _ = s.Text(row, response)
		r.Product, _ = s.Text(row, product)
		r.Model, _ = s.Text(row, model)
		r.Decision, _ = s.Text(row, decision)
		r.Domain, _ = s.Text(row, domain)
		r.Spec, _ = s.Text(row, spec)
		var fault *finding.Finding
		number := func(col int) *float64 {
			v, ok, bad := s.Number(row, col)
			if bad != nil && fault == nil {
				fault = bad
			}
			if !ok {
				return nil
			}
			return &v
		}
		r.Value, r.Low, r.High = number(value), number(low), number(high)
		if l := number(level); l != nil {
			r.Level = *l
		}
		if text, ok := s.Text(row, made); ok && !cell.Absent(text) {
			if t, err := time.Parse(time.RFC3339, text); err == nil {
				r.Made = t.UTC()
			} else if t, ok, bad := s.Date(row, made); ok {
				r.Made = t
			} else if fault == nil {
				fault = bad
			}
		}
		if fault != nil {
			fl.Add(*fault)
			*refused++
			continue
		}
		take(r)
	}
}

// check says what forbids using a record.
func (r Record) check() *finding.Finding {
	bad := func(code, found, want, do string) *finding.Finding {
		return &finding.Finding{Code: code, Severity: finding.Refused, Found: found, Want: want, Do: do}
	}
	for _, v := range []*float64{r.Value, r.Low, r.High, &r.Level} {
		if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
			return bad("forecast-not-finite", fmt.Sprint(*v), "finite figures", "take the forecast from where it was saved")
		}
	}
	switch {
	case r.Lot == "":
		return bad("lot-missing", "no lot", "a lot in every forecast", "fill the lot in")
	case r.Low != nil && r.High != nil && *r.Low > *r.High:
		return bad("interval-upside-down", fmt.Sprintf("from %v to %v", *r.Low, *r.High), "lower below upper", "see whether the columns are exchanged")
	case (r.Low != nil || r.High != nil) && !(r.Level > 0 && r.Level <= 1):
		return bad("level-missing", fmt.Sprintf("an interval at level %v", r.Level), "its level, such as 0.90", "fill the level in")
	}
	return nil
}

// First picks, lot by lot in the order of their forecasts, the earliest with a value;
// those without a time keep the order of the files, after the others. again are the
// lots that have more than one, each with how many.
func First(records []Record) (first []Record, again map[string]int) {
	sorted := slices.Clone(records)
	slices.SortStableFunc(sorted, func(a, b Record) int {
		if a.Made.IsZero() != b.Made.IsZero() {
			if a.Made.IsZero() {
				return 1
			}
			return -1
		}
		return a.Made.Compare(b.Made)
	})
	at, again := map[string]int{}, map[string]int{}
	for _, r := range sorted {
		k, seen := at[r.Lot]
		if !seen {
			at[r.Lot] = len(first)
			first = append(first, r)
			continue
		}
		if first[k].Value == nil && r.Value != nil {
			first[k] = r
			continue
		}
		if r.Value != nil {
			again[r.Lot]++
		}
	}
	return first, again
}
