package dataset

import (
	"cmp"
	"fmt"

	"flourcast/dataset/control"
	"flourcast/dataset/record"
	"flourcast/dataset/run"
	"flourcast/finding"
)

// judgeDays reads control batches and events, judges each instrument's days by the
// runs of the control flour, and marks the other runs of days that are out of
// control: nothing from them is accepted until the control is repeated. Void controls
// and void runs are left as they are.
func (j *joiner) judgeDays() error {
	batches, batchCounts, fl, err := control.ReadBatches(j.f.Controls, j.f.Map)
	if err != nil {
		return err
	}
	j.add(fl...)
	events, eventCounts, fl, err := control.ReadEvents(j.f.Events, j.f.Map)
	if err != nil {
		return err
	}
	j.add(fl...)
	j.out.Events = events
	var checks []control.Check
	for i := range j.runs {
		if r := &j.runs[i]; r.Fate == run.Accepted && r.Kind == record.Control && r.Status != "void" {
			checks = append(checks, checkOf(r))
		}
	}
	j.out.Control = control.Judge(checks, batches, events, j.opt.Control)
	j.add(j.out.Control.Findings...)
	for i := range j.runs {
		j.markRun(&j.runs[i])
	}
	j.countNotes("controls", batchCounts, len(j.f.Controls))
	j.countNotes("events", eventCounts, len(j.f.Events))
	return nil
}

func (j *joiner) countNotes(kind string, c Counts, files int) {
	if files > 0 {
		j.counted(kind, c)
	}
}

func checkOf(r *Run) control.Check {
	c := control.Check{Batch: r.Lot, Method: r.Method, Instrument: r.Instrument, Run: r.Run, TestedAt: r.TestedAt, Values: map[string]float64{}, At: r.At}
	for _, v := range r.Features.Values() {
		c.Values[v.ID] = v.Value
	}
	return c
}

// markRun doubts or refuses a run for which its day's control does not vouch.
func (j *joiner) markRun(r *Run) {
	if r.Fate != run.Accepted || r.Kind == record.Control || r.Status == "void" || j.out.Control.Vouch(r.Instrument, r.TestedAt) != control.OutControl {
		return
	}
	f := finding.Finding{Code: "control-out", Severity: finding.Doubt, At: r.At, Found: fmt.Sprintf("run of lot %s on %s, when the control flour was out of control on instrument %s", r.Lot, r.TestedAt, cmp.Or(r.Instrument, "not stated")),
		Want: "a control in order before the runs of a day", Do: "mend the cause, repeat the control, then repeat the run; void this one with its reason"}
	if j.opt.ControlPolicy == ControlRefuse {
		f.Severity = finding.Refused
		r.Fate = run.Refused
	}
	r.Findings.Add(f)
}
