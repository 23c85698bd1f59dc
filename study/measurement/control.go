package measurement

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset"
	"flourcast/dataset/control"
	"flourcast/dataset/pasting"
	"flourcast/dataset/record"
	"flourcast/dataset/run"
	"flourcast/finding"
	"flourcast/study/job"
)

// ControlRequest names the files of a laboratory; Features decide a day, Base takes
// the limits from the first so many runs. See control.Options. Read are the files read
// or joined with the usual options, for callers that have done it; then neither Files
// nor Features and Base count, and of its findings only those of the control stand.
type ControlRequest struct {
	Files    dataset.Files
	Read     *dataset.Joined
	Features []string
	Base     int
}

// ControlResult is what `control` prints.
type ControlResult struct {
	Schema      string            `json:"schema"`
	Deciding    []string          `json:"deciding"`
	Charts      []control.Chart   `json:"charts"`
	Days        []control.Day     `json:"days"`
	DaysOut     int               `json:"days_out"`
	Marked      []MarkedRun       `json:"marked"`    // runs for which the control of their day does not vouch
	Uncovered   int               `json:"uncovered"` // runs of days and instruments without a control run
	Overlaps    []control.Overlap `json:"overlaps"`
	Events      []control.Event   `json:"events"`
	Counts      dataset.Counts    `json:"counts"`
	Findings    finding.List      `json:"findings"`
	Controls    int               `json:"controls"`
	Instruments []string          `json:"instruments"`
}

// MarkedRun is a run of a day out of control. Status is "ok" or "void".
type MarkedRun struct {
	Run        string `json:"run"`
	Lot        string `json:"lot"`
	Method     string `json:"method"`
	Instrument string `json:"instrument"`
	TestedAt   string `json:"tested_at"`
	Kind       string `json:"kind"`
	Status     string `json:"status"`
}

// Control charts the control flour and marks the runs of days that are out of
// control. It returns a *job.RequestError for a feature that there is not, and
// *job.NothingUsableError where no control run can be charted.
func Control(ctx context.Context, env job.Env, q ControlRequest) (*ControlResult, error) {
	for _, id := range q.Features {
		if !slices.Contains(pasting.IDs(), id) {
			return nil, &job.RequestError{Found: "feature " + id, Want: "one of " + strings.Join(pasting.IDs(), ", ")}
		}
	}
	if q.Base < 0 {
		return nil, &job.RequestError{Found: fmt.Sprintf("limits from the first %d control runs", q.Base), Want: "0 (all) or more"}
	}
	opt := control.Options{Features: q.Features, Base: q.Base}
	if len(opt.Features) == 0 {
		opt.Features = control.Deciding
	}
	read := q.Read
	if read == nil {
		var err error
		if read, err = dataset.ReadRuns(ctx, q.Files, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Control: opt}); err != nil {
			return nil, err
		}
	}
	j := read.Control
	res := &ControlResult{Schema: "flourcast.control/1", Deciding: opt.Features, Charts: j.Charts, Days: j.Days, Marked: []MarkedRun{}, Overlaps: j.Overlaps,
		Events: read.Events, Counts: read.Counts, Findings: read.Findings, Instruments: []string{}}
	if q.Read != nil {
		res.Findings = j.Findings
	}
	if res.Events == nil {
		res.Events = []control.Event{}
	}
	if len(j.Charts) == 0 {
		return nil, &job.NothingUsableError{What: "no control run with a day: mark runs of the control flour by kind control in the runs file", Findings: read.Findings}
	}
	for _, d := range j.Days {
		res.Controls += d.Controls
		if d.Standing == control.OutControl {
			res.DaysOut++
		}
		if !slices.Contains(res.Instruments, d.Instrument) {
			res.Instruments = append(res.Instruments, d.Instrument)
		}
	}
	for _, r := range read.Runs {
		if r.Kind == record.Control || r.Fate == run.Refused {
			continue
		}
		switch j.Vouch(r.Instrument, r.TestedAt) {
		case control.OutControl:
			res.Marked = append(res.Marked, MarkedRun{r.Run, r.Lot, r.Method, r.Instrument, r.TestedAt, r.Kind, r.Status})
		case control.NoControl:
			res.Uncovered++
		}
	}
	return res, nil
}
