package choosing

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/study/job"
)

func table(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "t.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const screened = `lot,product,peak_mPas,hardness_N
M1,soft-bite-noodle,2000,4
M2,soft-bite-noodle,2500,3.6
A,soft-bite-noodle,2600,
B,soft-bite-noodle,4000,
B,soft-bite-noodle,4200,
C,soft-bite-noodle,3300,
D,soft-bite-noodle,2000,
E,soft-bite-noodle,,
F,layer-cake,9000,
`

// By hand: of A 2600, B 4100 (mean of two runs), C 3300 and D 2000 (measured flour's
// twin) the farthest is B; then C, 800 from both M2 and B; then A. D never comes.
func TestChoose(t *testing.T) {
	q := Request{Table: table(t, screened), Response: "hardness_N", Features: []string{"peak_mPas"}, Product: "soft-bite-noodle", N: 4}
	r, err := Choose(job.Env{Seed: 1}, q)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range r.Chosen {
		got = append(got, fmt.Sprintf("%s from %s %v", c.Lot, c.Nearest, *c.Value))
	}
	if strings.Join(got, "; ") != "B from M2 4100; C from M2 3300; A from M2 2600" || r.Measured != 2 || r.Candidates != 4 || r.Lacking != 1 || len(r.Findings) != 1 {
		t.Errorf("%v; %+v", got, r)
	}
	// Random ones are drawn from the held.
	q.N, q.Random, q.Forecasts = 1, 2, []string{table(t, "lot,value,response,decision\nA,3,hardness_N,hold\nC,3,hardness_N,accept\nB,3,hardness_N,hold\nD,3,hardness_N,reject\n")}
	if r, err = Choose(job.Env{Seed: 1}, q); err != nil {
		t.Fatal(err)
	}
	if len(r.Chosen) != 2 || r.Chosen[1].Lot != "A" || r.Chosen[1].By != "random" || r.Chosen[1].Decision != "hold" || r.Held != 2 {
		t.Errorf("%+v", r)
	}
}

func TestRefusals(t *testing.T) {
	var request *job.RequestError
	var nothing *job.NothingUsableError
	good := Request{Table: table(t, screened), Response: "hardness_N", Features: []string{"peak_mPas"}, N: 1}
	for name, change := range map[string]func(*Request){
		"no lots": func(q *Request) { q.N = 0 }, "no features": func(q *Request) { q.Features = nil },
		"no such feature": func(q *Request) { q.Features = []string{"final_mPas"} }, "no such response": func(q *Request) { q.Response = "volume_mL" },
	} {
		q := good
		change(&q)
		if _, err := Choose(job.Env{}, q); !errors.As(err, &request) {
			t.Errorf("%s: %v", name, err)
		}
	}
	good.Table = table(t, "lot,peak_mPas,hardness_N\nA,2000,3\n")
	if _, err := Choose(job.Env{}, good); !errors.As(err, &nothing) {
		t.Errorf("all measured: %v", err)
	}
}
