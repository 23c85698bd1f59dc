package forecast

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"flourcast/eval/domain"
	"flourcast/forecast/conformance"

	"github.com/pelletier/go-toml/v2"
)

// Bands are a laboratory's own names for stretches of a response, lowest first:
// len(Names) = len(Cuts) + 1, and Names[k] lies below Cuts[k]. Cuts are in the unit
// of the response's name. Where soft ends and firm begins is a matter of market
// and product, so there are no built-in figures.
type Bands struct {
	Response string    `json:"response"`
	Names    []string  `json:"names"`
	Cuts     []float64 `json:"cuts"`
}

// Class is a band with the probability that the lot lies in it.
type Class struct {
	Name        string  `json:"name"`
	Probability float64 `json:"probability"`
}

// BandsError says what is wrong with named bands. Line is 0 outside a file.
type BandsError struct {
	File            string
	Line            int
	Found, Want, Do string
}

func (e *BandsError) Error() string {
	where := "bands"
	if e.File != "" {
		where = e.File
	}
	if e.Line > 0 {
		where += fmt.Sprintf(", line %d", e.Line)
	}
	return where + ": found " + e.Found + ", expected " + e.Want + "; " + e.Do
}

const bandsForm = "RESPONSE=NAME..CUT..NAME, such as 'hardness_N=soft bite..3.2..firm bite'"

// ParseBands reads "hardness_N=soft bite..3.2..firm bite": names and cuts by turns,
// lowest first. It returns a *BandsError for another form and for bands that
// Check refuses.
func ParseBands(s string) (Bands, error) {
	response, rest, ok := strings.Cut(s, "=")
	parts := strings.Split(rest, "..")
	if !ok || len(parts) < 3 || len(parts)%2 == 0 {
		return Bands{}, &BandsError{Found: strconv.Quote(s), Want: bandsForm, Do: "put two points between names and cuts"}
	}
	b := Bands{Response: strings.TrimSpace(response)}
	for i, part := range parts {
		part = strings.TrimSpace(part)
		if i%2 == 0 {
			b.Names = append(b.Names, part)
			continue
		}
		v, err := strconv.ParseFloat(part, 64)
		if err != nil || strings.Trim(part, "0123456789.+-eE") != "" {
			return Bands{}, &BandsError{Found: strconv.Quote(part), Want: "a finite decimal number between two names", Do: "write the figure without a unit and with a decimal point"}
		}
		b.Cuts = append(b.Cuts, v)
	}
	return b, b.Check()
}

// ParseBandsFile reads bands from a TOML file:
//
//	response = "hardness_N"
//	[[band]]
//	name  = "soft bite"
//	below = 3.2          # not in the last one
//	[[band]]
//	name  = "firm bite"
//
// Errors are *BandsError, with the line where it is known.
func ParseBandsFile(file string, data []byte) (Bands, error) {
	var in struct {
		Response string `toml:"response"`
		Band     []struct {
			Name  string   `toml:"name"`
			Below *float64 `toml:"below"`
		} `toml:"band"`
	}
	d := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		out := &BandsError{File: file, Found: err.Error(), Want: "response, and [[band]] with name and below", Do: "mend the file"}
		var at *toml.DecodeError
		var unknown *toml.StrictMissingError
		if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
			at = &unknown.Errors[0]
			out.Found = "the key " + strings.Join(at.Key(), ".")
		}
		if at != nil || errors.As(err, &at) {
			out.Line, _ = at.Position()
		}
		return Bands{}, out
	}
	b := Bands{Response: in.Response}
	for i, band := range in.Band {
		b.Names = append(b.Names, band.Name)
		switch last := i == len(in.Band)-1; {
		case last && band.Below != nil:
			return Bands{}, &BandsError{File: file, Found: "below in the last band", Want: "a last band without an upper end", Do: "add a band, or leave it out"}
		case !last && band.Below == nil:
			return Bands{}, &BandsError{File: file, Found: fmt.Sprintf("band %d, %q, without below", i+1, band.Name), Want: "the figure where it ends", Do: "give it"}
		case !last:
			b.Cuts = append(b.Cuts, *band.Below)
		}
	}
	err := b.Check()
	var wrong *BandsError
	if errors.As(err, &wrong) {
		wrong.File = file
	}
	return b, err
}

// Check returns a *BandsError for bands without a response, fewer than two, an
// empty or repeated name, and cuts that do not rise or are not finite.
func (b Bands) Check() error {
	switch {
	case b.Response == "":
		return &BandsError{Found: "no response", Want: bandsForm, Do: "name the response"}
	case len(b.Names) < 2 || len(b.Cuts) != len(b.Names)-1:
		return &BandsError{Found: fmt.Sprintf("%d names and %d cuts", len(b.Names), len(b.Cuts)), Want: "two bands or more, with a cut between each two", Do: "see the form " + bandsForm}
	}
	for i, name := range b.Names {
		if name == "" || slices.Contains(b.Names[:i], name) {
			return &BandsError{Found: fmt.Sprintf("band %d is called %q", i+1, name), Want: "a name of its own", Do: "name it"}
		}
	}
	for i, c := range b.Cuts {
		if math.IsNaN(c) || math.IsInf(c, 0) || i > 0 && c <= b.Cuts[i-1] {
			return &BandsError{Found: fmt.Sprint("cuts ", b.Cuts), Want: "finite figures that rise", Do: "put the lowest band first"}
		}
	}
	return nil
}

// classify fills Class and Classes. A lot that has no value or lies outside the
// domain, or a model that is not fit for use, has no class.
func (m *maker) classify(x []float64, usable bool) {
	b := m.in.Bands
	if b == nil || !usable || m.f.Domain == domain.Outside {
		return
	}
	if b.Response != m.in.Model.Response {
		m.note("the bands are for %s, the model forecasts %s: no class is given", b.Response, m.in.Model.Response)
		return
	}
	shares, err := m.shares(x, b.Cuts)
	if err != nil {
		m.note("no class can be given (%v)", err)
		return
	}
	best := 0
	for k, p := range shares {
		m.f.Classes = append(m.f.Classes, Class{b.Names[k], p})
		if p > shares[best] {
			best = k
		}
	}
	m.f.Class = b.Names[best]
}

// shares are the probabilities of lying between the cuts, by the distribution that
// decides (see probability).
func (m *maker) shares(x, cuts []float64) ([]float64, error) {
	source := m.in.Model.source(m.extra)
	if !source.OnLog() {
		spread, err := source.Spread(x)
		if err != nil {
			return nil, err
		}
		return conformance.Shares(*m.f.Value, spread, cuts)
	}
	var out []float64
	below := 0.0
	for _, cut := range cuts {
		p, err := source.Conformance(x, *m.f.Value, nil, &cut)
		if err != nil {
			return nil, err
		}
		out = append(out, max(0, p-below))
		below = max(below, p)
	}
	return append(out, 1-below), nil
}
