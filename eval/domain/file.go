package domain

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// file is the JSON shape of a domain, as it stands in a model file.
type file struct {
	Features    []string    `json:"features"`
	Lots        int         `json:"lots"`
	Mean        []float64   `json:"mean"`
	SD          []float64   `json:"sd"`
	Low         []float64   `json:"low"`
	High        []float64   `json:"high"`
	Loadings    [][]float64 `json:"loadings"`
	Eigenvalues []float64   `json:"eigenvalues"`
	T2          [2]float64  `json:"t2_limits"`
	Q           [2]float64  `json:"q_limits"`
	Names       []string    `json:"lot_names"`
	Scores      [][]float64 `json:"scores"`
	Spacing     float64     `json:"spacing"`
}

// FileError says which part of a stored domain cannot be used.
type FileError struct{ Part, Found, Want string }

func (e *FileError) Error() string {
	return fmt.Sprintf("domain: %s: found %s, expected %s; fit the model again", e.Part, e.Found, e.Want)
}

// MarshalJSON writes everything that Place needs; UnmarshalJSON reads it back
// to the same bits.
func (d *Domain) MarshalJSON() ([]byte, error) {
	return json.Marshal(file{orEmpty(d.features), d.lots, orEmpty(d.mean), orEmpty(d.sd), orEmpty(d.low), orEmpty(d.high),
		orEmpty(d.loadings), orEmpty(d.eigenvalues), d.t2, d.q, orEmpty(d.names), orEmpty(d.scores), d.spacing})
}

func orEmpty[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// UnmarshalJSON reads a domain and checks it: lengths, ranges, positive
// variances, loadings of length 1 at right angles. It returns a *FileError, or
// the decoder's error for an unknown field or a figure that is no number.
func (d *Domain) UnmarshalJSON(data []byte) error {
	var f file
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return fmt.Errorf("domain: %w", err)
	}
	if err := f.check(); err != nil {
		return err
	}
	*d = Domain{f.Features, f.Lots, f.Mean, f.SD, f.Low, f.High, f.Loadings, f.Eigenvalues, f.T2, f.Q, f.Names, f.Scores, f.Spacing}
	return nil
}

func (f file) check() error {
	p, a := len(f.Features), len(f.Loadings)
	if f.Lots < 3 {
		return &FileError{"lots", fmt.Sprint(f.Lots), "3 or more"}
	}
	seen := map[string]bool{}
	for _, name := range f.Features {
		if seen[name] {
			return &FileError{"features", name + " twice", "each name once"}
		}
		seen[name] = true
	}
	for _, part := range []struct {
		name string
		v    []float64
		want int
	}{{"mean", f.Mean, p}, {"sd", f.SD, p}, {"low", f.Low, p}, {"high", f.High, p}, {"eigenvalues", f.Eigenvalues, a}} {
		if len(part.v) != part.want {
			return &FileError{part.name, fmt.Sprint(len(part.v), " figures"), fmt.Sprint(part.want)}
		}
	}
	if len(f.Names) != f.Lots || len(f.Scores) != f.Lots {
		return &FileError{"lot_names and scores", fmt.Sprint(len(f.Names), " and ", len(f.Scores)), fmt.Sprint(f.Lots, " of each")}
	}
	for i, t := range f.Scores {
		if len(t) != a {
			return &FileError{"scores of lot " + f.Names[i], fmt.Sprint(len(t), " figures"), fmt.Sprint(a)}
		}
	}
	vary := 0
	for j, name := range f.Features {
		if f.SD[j] < 0 || f.Low[j] > f.High[j] {
			return &FileError{"feature " + name, fmt.Sprintf("sd %v, range %v to %v", f.SD[j], f.Low[j], f.High[j]), "sd 0 or more, low not above high"}
		}
		if f.SD[j] > 0 {
			vary++
		}
	}
	if a > min(vary, f.Lots-1) || (a == 0) != (vary == 0) {
		return &FileError{"loadings", fmt.Sprint(a, " components"), fmt.Sprintf("1 to %d", min(vary, f.Lots-1))}
	}
	for k, axis := range f.Loadings {
		if len(axis) != p {
			return &FileError{fmt.Sprint("loadings of component ", k+1), fmt.Sprint(len(axis), " figures"), fmt.Sprint(p)}
		}
		if f.Eigenvalues[k] < least {
			return &FileError{fmt.Sprint("eigenvalue ", k+1), fmt.Sprint(f.Eigenvalues[k]), fmt.Sprint("at least ", least)}
		}
		for l := range k + 1 {
			want := 0.0
			if l == k {
				want = 1
			}
			if got := dot(axis, f.Loadings[l]); !(math.Abs(got-want) <= 1e-6) {
				return &FileError{fmt.Sprintf("loadings %d and %d", k+1, l+1), fmt.Sprint("product ", got), fmt.Sprint(want)}
			}
		}
	}
	if f.Spacing < 0 {
		return &FileError{"spacing", fmt.Sprint(f.Spacing), "0 or more"}
	}
	if f.T2[0] < 0 || f.T2[0] > f.T2[1] || f.Q[0] < 0 || f.Q[0] > f.Q[1] {
		return &FileError{"limits", fmt.Sprint(f.T2, f.Q), "95 % limit not above the 99 % limit, none negative"}
	}
	return nil
}
