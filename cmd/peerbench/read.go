package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"flourcast/eval/fold"
	"flourcast/model/design"
)

// set is one folder of data.
type set struct {
	name  string
	m     *design.Matrix
	plan  fold.Plan // a repeat each column of folds.csv
	perms [][]int   // nil where there is no perms.csv
}

func load(dir, name string) (*set, error) {
	file := func(name2 string) string { return filepath.Join(dir, name, name2) }
	x, names, err := table(file("X.csv"))
	if err != nil {
		return nil, err
	}
	y, response, err := table(file("y.csv"))
	if err != nil {
		return nil, err
	}
	spec := design.Spec{Features: names, Response: response[0], Flat: x, Y: y}
	for i := range y {
		spec.Lots = append(spec.Lots, strconv.Itoa(i))
	}
	s := &set{name: name}
	if s.m, err = design.New(spec); err != nil {
		return nil, fmt.Errorf("%s: %w", file("X.csv"), err)
	}
	folds, repeats, err := table(file("folds.csv"))
	if err != nil {
		return nil, err
	}
	if len(folds) != len(repeats)*s.m.N() {
		return nil, fmt.Errorf("%s: found %d rows, expected %d as in X.csv", file("folds.csv"), len(folds)/len(repeats), s.m.N())
	}
	s.plan.Scheme = "folds.csv"
	for r := range repeats {
		of, k := make([]int, s.m.N()), 0
		for i := range of {
			of[i] = int(folds[i*len(repeats)+r])
			k = max(k, of[i]+1)
		}
		s.plan.Fold, s.plan.K = append(s.plan.Fold, of), append(s.plan.K, k)
	}
	perms, rows, err := table(file("perms.csv"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return s, nil
	case err != nil:
		return nil, err
	case len(rows) != s.m.N():
		return nil, fmt.Errorf("%s: found %d columns, expected a column a row of X.csv, %d", file("perms.csv"), len(rows), s.m.N())
	}
	for at := 0; at < len(perms); at += len(rows) {
		order := make([]int, len(rows))
		for i := range order {
			order[i] = int(perms[at+i])
			if order[i] < 0 || order[i] >= len(rows) {
				return nil, fmt.Errorf("%s: found row number %v, expected 0 to %d", file("perms.csv"), perms[at+i], len(rows)-1)
			}
		}
		s.perms = append(s.perms, order)
	}
	return s, nil
}

// table reads a header and figures, row after row, straight into one slice: at
// most the figures themselves and one line of text are in memory.
func table(path string) (figures []float64, names []string, err error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	r := bufio.NewReaderSize(f, 1<<16)
	for row := 1; ; row++ {
		text, err := r.ReadSlice('\n')
		if len(text) == 0 && err == io.EOF {
			break
		}
		if err != nil && err != io.EOF {
			return nil, nil, fmt.Errorf("%s row %d: %w", path, row, err)
		}
		text = bytes.TrimRight(text, "\r\n")
		if row == 1 {
			for _, name := range bytes.Split(text, []byte(",")) {
				names = append(names, string(name))
			}
			continue
		}
		if row == 2 { // room for the whole file, judged by its first row
			rows := info.Size()/int64(len(text)+1) + info.Size()/int64(20*(len(text)+1)) + 2
			figures = make([]float64, 0, rows*int64(len(names)))
		}
		n := 0
		for more := true; more; n++ {
			var cell []byte
			cell, text, more = bytes.Cut(text, []byte(","))
			v, err := strconv.ParseFloat(string(cell), 64)
			if err != nil {
				return nil, nil, fmt.Errorf("%s row %d column %d: found %q, expected a number", path, row, n+1, cell)
			}
			figures = append(figures, v)
		}
		if n != len(names) {
			return nil, nil, fmt.Errorf("%s row %d: found %d figures, expected %d", path, row, n, len(names))
		}
	}
	if len(figures) == 0 {
		return nil, nil, fmt.Errorf("%s: found no rows, expected some", path)
	}
	return figures, names, nil
}
