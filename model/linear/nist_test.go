package linear

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"os"
	"strconv"
	"testing"

	"flourcast/model/design"
)

type certified struct {
	Reference      string    `json:"reference"`
	Degree         int       `json:"degree"`
	Estimates      []float64 `json:"estimates"`
	StandardErrors []float64 `json:"standard_errors"`
	ResidualSD     float64   `json:"residual_sd"`
	RSquared       float64   `json:"r_squared"`
}

// nist reads one certified set; powers of x are rounded once.
func nist(t testing.TB, name string) (*design.Matrix, certified) {
	t.Helper()
	data, err := os.ReadFile("testdata/nist/certified.json")
	if err != nil {
		t.Fatal(err)
	}
	var all map[string]certified
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	c := all[name]
	f, err := os.Open("testdata/nist/" + name + ".csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	s := design.Spec{Features: rows[0][1:], Response: "response"}
	if c.Degree > 1 {
		s.Features = nil
		for k := 1; k <= c.Degree; k++ {
			s.Features = append(s.Features, fmt.Sprint("x", k))
		}
	}
	for i, row := range rows[1:] {
		var x []float64
		for _, cell := range row {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			x = append(x, v)
		}
		s.Y, x = append(s.Y, x[0]), x[1:]
		if c.Degree > 1 {
			power, base := big.NewFloat(1).SetPrec(600), big.NewFloat(x[0]).SetPrec(600)
			x = nil
			for range c.Degree {
				power.Mul(power, base)
				v, _ := power.Float64()
				x = append(x, v)
			}
		}
		s.X, s.Lots = append(s.X, x), append(s.Lots, fmt.Sprint("r", i))
	}
	m, err := design.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m, c
}

// digits is the number of correct significant digits, at most 15; for a certified
// zero, of the figure relative to size.
func digits(got, want, size float64) float64 {
	if want != 0 {
		size = math.Abs(want)
	}
	e := math.Abs(got-want) / size
	if e == 0 {
		return 15
	}
	return math.Min(15, -math.Log10(e))
}

func TestCertifiedSets(t *testing.T) {
	// least: digits that must be reached, coefficients and standard errors.
	for _, c := range []struct {
		name             string
		least, leastSE   float64
		leastSD, leastR2 float64
	}{
		{"Norris", 13, 13, 13, 13},
		{"Longley", 13.5, 13, 13, 13},
		{"Wampler1", 13, 13, 13, 13},
		{"Wampler2", 12, 13, 13, 13},
		{"Wampler3", 13, 12.5, 13, 13},
		{"Filip", 7, 7, 7, 7},
	} {
		m, want := nist(t, c.name)
		f, err := OLS{}.Regress(m)
		if err != nil {
			t.Fatal(c.name, err)
		}
		l := f.Linear()
		intercept, each := f.StandardErrors()
		se := append([]float64{intercept}, each...)
		worst := digits(l.Intercept, want.Estimates[0], 1)
		worstSE := digits(se[0], want.StandardErrors[0], 1e3)
		for j, b := range l.Coefficients {
			worst = math.Min(worst, digits(b, want.Estimates[j+1], 1))
			worstSE = math.Min(worstSE, digits(se[j+1], want.StandardErrors[j+1], 1))
		}
		sd, r2 := digits(f.Sigma(), want.ResidualSD, 1), digits(f.R2(), want.RSquared, 1)
		t.Logf("%-8s correct digits of the worst: coefficient %.1f, standard error %.1f; residual SD %.1f, R² %.1f; condition %.3g", c.name, worst, worstSE, sd, r2, f.Condition())
		if worst < c.least || worstSE < c.leastSE || sd < c.leastSD || r2 < c.leastR2 {
			t.Errorf("%s: fewer digits than %.1f, %.1f, %.1f, %.1f", c.name, c.least, c.leastSE, c.leastSD, c.leastR2)
		}
	}
}
