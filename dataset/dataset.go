// Package dataset joins what a laboratory has, lots, runs, pasting curves or
// feature values, texture and bake results, into one Table: a row for each lot
// and product.
//
//  1. Files are read row by row (packages lot and record). A row is accepted,
//     waiting (its lot or run is not known yet) or refused with a finding; the
//     three add up to what was read. A row of a curves file is one point: a run
//     that is refused refuses all its rows, one that waits lets them wait.
//  2. Runs are linked to the runs file, curves become features, and the runs of a
//     lot are pooled (package run). Void runs and controls are not; runs of
//     different methods never share a column. Runs of an instrument on a day whose
//     control flour was out of control (package control) are doubted or refused.
//  3. Texture and bake results are read, force curves too, and those of one
//     protocol summarised by lot and product (package result). What differs in a
//     field is not pooled in silence.
//  4. The Table (package table) is put together, and lots that did not pair are
//     listed with the reason.
//
// It refuses no row for an unknown lot and guesses no name: near misses are
// proposed. The one figure it takes from several lots is the slope of forces on thickness, within lots.
//
// # In a few lines
//
// Files in, one table out, and what became of every row:
//
//	joined, err := dataset.Join(ctx, dataset.Files{Lots: lots, Pasting: pasting, Texture: texture}, dataset.JoinOptions{})
//	fmt.Println(joined.Counts.Read, joined.Counts.Refused)
//	hardness, ok := joined.Table.Number("hardness_N", 0)
package dataset

import (
	"cmp"
	"context"

	"flourcast/dataset/baking"
	"flourcast/dataset/control"
	"flourcast/dataset/dayshift"
	"flourcast/dataset/method"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/protocol"
	"flourcast/dataset/record"
	"flourcast/dataset/run"
	"flourcast/dataset/sheet"
	"flourcast/dataset/table"
	"flourcast/dataset/tablefile"
	"flourcast/dataset/thickness"
	"flourcast/finding"
	"flourcast/work"
)

// The table and its parts, under the names that users of the join know.
type (
	Table        = table.Table
	Counts       = record.Counts
	Run          = run.Run
	CurveOptions = run.Options
)

// ReadTable reads any CSV or workbook as a Table. The lot stands in the column
// named by group or, without one, in `lot` or the first column. See tablefile.Read.
func ReadTable(path string, group ...string) (*Table, finding.List, error) {
	return tablefile.Read(path, cmp.Or(group...))
}

// ReadCurves reads curves files and extracts features. See run.ReadCurves.
func ReadCurves(ctx context.Context, paths []string, opt CurveOptions) ([]Run, Counts, finding.List, error) {
	return run.ReadCurves(ctx, paths, opt)
}

// EachCurve reads curves files and hands on each run with its features. See run.EachCurve.
func EachCurve(ctx context.Context, paths []string, opt CurveOptions, take func(Run) error) (Counts, finding.List, error) {
	return run.EachCurve(ctx, paths, opt, take)
}

// Files are the six kinds of file, those of control batches and instrument events,
// and what holds for all of them: an import map, methods of the laboratory's own, and the
// method and lot of curves that do not tell theirs.
type Files struct {
	Lots, Runs                      []string
	Curves, Pasting, Texture, Bakes []string
	Controls, Events                []string
	Production                      []string // notes of how lots ran
	Map                             *sheet.Map
	Methods                         []method.Method
	Protocols                       []protocol.Protocol // of texture tests, the laboratory's own
	BakeMethods                     []baking.Method     // the laboratory's own
	BakeMethod                      string              // of cakes that name none which is known
	Method, Lot                     string
	Protocol                        string // of force curves that do not tell theirs
}

// JoinOptions are the settings of a join. Cores 0 means all; Progress may be nil. Pool names fields
// ("instrument", "water", "solids", "protocol") over which pooling is meant. Keep
// keeps the curves with the runs. Control says how days are judged by the control
// flour, ControlPolicy what becomes of the runs of a day out of control: ControlWarn
// (or "") doubts them, ControlRefuse refuses them. Policy says what deviations of a
// curve, or of what was weighed in, from its method do to the run.
type JoinOptions struct {
	Cores         int
	Progress      work.Progress
	Pool          []string
	Keep          bool
	ThicknessMM   *float64   // forces and work are brought to this thickness of the strand; nil leaves them
	DayControl    DayControl // takes the days out of texture and bake results; without a lot they stay
	Control       control.Options
	ControlPolicy string
	Policy        conformity.Policy
}

// What becomes of the runs of a day out of control.
const (
	ControlWarn   = "warn"
	ControlRefuse = "refuse"
)

// KindCounts are the rows of one kind of file.
type KindCounts struct {
	Kind string `json:"kind"`
	Counts
}

// Unpaired is a lot that has no row with both pasting figures and a result: what
// it has, what it lacks, and why.
type Unpaired struct {
	Lot    string `json:"lot"`
	Has    string `json:"has"`
	Lacks  string `json:"lacks"`
	Reason string `json:"reason"`
}

// Joined is the outcome of a join. Kinds are the counts of the six kinds of
// file, in the order lots, runs, controls and events (where there are any), curves,
// pasting, texture, bakes; Counts is their sum. Control is what the control flour
// says of the days, Events what was done to instruments.
type Joined struct {
	Table    *Table       `json:"-"`
	Counts   Counts       `json:"counts"`
	Kinds    []KindCounts `json:"kinds"`
	Unpaired []Unpaired   `json:"unpaired"`
	Findings finding.List `json:"findings"`
	Runs     []Run        `json:"-"`

	Thickness []thickness.Slope `json:"thickness"` // how forces change with thickness within lots

	DayShifts []dayshift.Shift `json:"day_shifts"` // what the day control moved

	Control control.Judgement `json:"-"`
	Events  []control.Event   `json:"-"`
}
