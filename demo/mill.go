// Package demo writes the raw files of an invented mill, as a laboratory would
// have them, with a known truth behind them.
//
//  1. draw plans three harvests: lots with their hidden flour (demo/grain), runs,
//     and the things that go wrong as they do in a laboratory.
//  2. test runs every pasting test; noodles and cakes are made as they are written.
//  3. files puts the records into several dialects; raw/README.txt and Truth name
//     every fault that was built in. The same seed gives the same bytes.
//
// Everything is invented and says so. The package knows no feature extraction
// and no model: its files enter by the front door like anyone's.
package demo

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"flourcast/dataset/method"
	"flourcast/demo/dialect"
	"flourcast/demo/grain"
	"flourcast/work"
)

// Name is the mill's.
const Name = "Invented Mill"

// Notice is printed on everything that comes of the demo.
const Notice = "Everything here is invented: the mill, its flours, curves, noodles and cakes. No figure may be used for anything real."

const (
	softBite  = "soft-bite-noodle"
	plainBite = "white-salted-noodle"
	layerCake = "layer-cake"

	north = "Supplier North"
	south = "Supplier South"

	noodleWater     = "noodle-water"
	noodleInhibited = "noodle-inhibited"
	cakeWater       = "cake-water"
	cakeSucrose     = "cake-sucrose50"

	shiftYear = 2025
)

// Mill is what was written. Paths are relative to the directory, with slashes.
type Mill struct {
	Lots, Runs, Curves, Pasting, Texture, Bakes []string
	Strands, Heights                            []string // of a few lots again, for a look: not for the join
	Controls, Events                            []string
	Production                                  []string // how lots ran: no model is made of it, so not in the join
	Readme                                      string
	New                                         New
	Season                                      Season
	Wanted                                      []WantedModel
	Truth                                       Truth
}

// New is lots that have come in since: their files and the specification that
// they are to meet.
type New struct{ Lots, Curves, Spec string }

// Season is what came after the models: lots, their curves and, later, their
// noodles; the features of lots that two instruments ran; flours in stock with their
// prices, own blends of them, and the run of one more.
type Season struct{ Lots, Curves, Texture, Pairs, Stock, Blends, BlendRun string }

// WantedModel is a model that the mill would like to have. File is where to put it.
// Features are bare ids; pasting features are meant by Method.
type WantedModel struct {
	File, Product, Response, Kind string
	Features                      []string
	Method                        string
	Note                          string
	TreatmentAsFactor             bool // flours of several treatments, an indicator for each but one
}

// Truth is what was built in, for tests and for the curious.
type Truth struct {
	Flours map[string]grain.Flour // by lot

	MainProduct   string // the product with a model worth having …
	NarrowProduct string // … and the one of which nothing can be told

	ProteinResponse string // protein alone forecasts it better than pasting
	ShiftResponse   string // the old model fails on it …
	ShiftYear       int    // … in this harvest

	Sprouted     []string // lots of low falling number
	OldRecords   []string // lots of which only feature values are left
	Blend        string   // a silo blend of …
	Parents      []string // … these lots
	FailedDay    string   // date on which the control flour was out of line
	FailedLots   []string // lots tested on that day: runs void, retests follow
	Retested     string   // lot with a void first run and a retest
	LateMoisture string   // lot whose moisture came later
	WrongClaim   Claim
	MisRuns      []string // lots with a run that has no peak
	UnknownLot   string   // a curve of a lot that nobody has entered
	NoodleLots   []string
	CakeLots     []string
	Faults       []Fault
}

// Claim is a supplier's figure beside one's own.
type Claim struct {
	Lot          string
	Claimed, Own float64
}

// Fault is a faulty cell or row written on purpose. Row counts the file's lines
// from 1, header included; an empty Column is the whole row.
type Fault struct {
	File   string
	Row    int
	Column string
	What   string
}

// Write makes the mill's files in dir/raw: all of them or none, as they are
// written beside it and renamed at the end. It returns an error when dir/raw
// holds anything already, or when the disk refuses.
func Write(dir string, seed uint64) (Mill, error) {
	raw := filepath.Join(dir, "raw")
	switch entries, err := os.ReadDir(raw); {
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return Mill{}, fmt.Errorf("demo: %w", err)
	case len(entries) > 0:
		return Mill{}, fmt.Errorf("demo: %s holds files already (%s …); nothing was written: choose another directory or empty this one", raw, entries[0].Name())
	}
	p := draw(seed)
	if err := p.test(); err != nil {
		return Mill{}, err
	}
	mill, files, err := p.files()
	if err != nil {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	beside, err := os.MkdirTemp(dir, ".raw-")
	if err != nil {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	defer os.RemoveAll(beside)
	if err := save(beside, files); err != nil {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	if err := os.Remove(raw); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	if err := os.Rename(beside, raw); err != nil {
		return Mill{}, fmt.Errorf("demo: %w", err)
	}
	return mill, nil
}

// save writes the files under dir, which comes to stand for raw.
func save(dir string, files []dialect.File) error {
	if err := os.Chmod(dir, 0o755); err != nil {
		return err
	}
	for _, f := range files {
		path := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, f.Data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// test runs every pasting test of the plan.
func (p *plan) test() error {
	return work.Each(context.Background(), len(p.runs), 0, func(i int) error {
		r := &p.runs[i]
		m, ok := method.Lookup(r.method)
		if !ok {
			return fmt.Errorf("demo: found no built-in method %s", r.method)
		}
		if r.noFlour {
			m.SolidsG = 0
		}
		r.curve = grain.PastingRun(rng(p.seed, "run", r.id), r.flour, m, r.off)
		if r.stoppedS > 0 {
			r.curve = r.curve.Until(r.stoppedS)
		}
		return nil
	})
}

// wanted are the models that the mill asks for.
func wanted() []WantedModel {
	pasting := []string{"pasting_temp_C", "peak_mPas", "breakdown_mPas", "setback_trough_mPas", "peak_time_s"}
	with := func(more ...string) []string { return append(append([]string{}, pasting...), more...) }
	return []WantedModel{
		{"models/soft-bite-hardness.json", softBite, "hardness_N", "pls", with("protein_pct", "falling_number_s"), noodleWater,
			"the model worth having: starch softens the noodle, protein hardens it", false},
		{"models/soft-bite-springiness.json", softBite, "springiness", "pls", with("protein_pct"), noodleWater,
			fmt.Sprintf("a harvest on which the old model fails: the gluten of %d springs back less, and no pasting test sees it", shiftYear), false},
		{"models/soft-bite-cohesiveness.json", softBite, "cohesiveness", "pls", with("protein_pct"), noodleWater,
			"soft granules hold together in the bite", false},
		{"models/soft-bite-firmness.json", softBite, "firmness_N", "pls", pasting, noodleWater,
			"protein alone does better: the blade cuts gluten", false},
		{"models/white-salted-hardness.json", plainBite, "hardness_N", "pls", []string{"peak_mPas", "breakdown_mPas"}, noodleWater,
			"one tight grist, few lots: nothing can be told", false},
		{"models/layer-cake-volume.json", layerCake, "volume_mL", "pls", []string{"pasting_temp_C", "peak_mPas", "peak_time_s"}, cakeSucrose,
			"heat treatment moves both the curve and the cake, so it is a factor of its own: what the curve adds is the flour's", true},
		{"models/layer-cake-symmetry.json", layerCake, "symmetry_index_mm", "pls", []string{"pasting_temp_C", "peak_mPas", "peak_time_s"}, cakeSucrose,
			"oven and pan decide it", true},
	}
}
