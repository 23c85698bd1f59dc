package study

import (
	"bytes"
	"context"
	"errors"
	"fmt"

	"flourcast/dataset"
	"flourcast/dataset/dayshift"
	"flourcast/dataset/pasting/conformity"
	"flourcast/dataset/thickness"
	"flourcast/finding"
	"flourcast/study/job"
)

// JoinRequest names the files of a laboratory by kind. Out, when not empty, is
// where the table is written.
type JoinRequest struct {
	Files         dataset.Files
	Pool          []string           // fields whose differences the user accepts: instrument, water …
	ControlPolicy string             // what becomes of runs of a day out of control: "warn" (or ""), "refuse"
	Policy        conformity.Policy  // what deviations of a curve from its method do to the run
	DayControl    dataset.DayControl // takes the days out of texture and bake results
	ThicknessMM   *float64           // forces and work are brought to this thickness of the strand; nil leaves them
	Out           string
}

// JoinResult is what `join` prints. Read = accepted + waiting + refused, in rows.
type JoinResult struct {
	Schema   string             `json:"schema"`
	Table    string             `json:"table"` // path written, as given
	Rows     int                `json:"rows"`  // of the table
	Read     int                `json:"read"`
	Accepted int                `json:"accepted"`
	Waiting  int                `json:"waiting"`
	Refused  int                `json:"refused"`
	Unpaired []dataset.Unpaired `json:"unpaired"`
	Findings finding.List       `json:"findings"`

	Thickness []thickness.Slope `json:"thickness"` // how forces change with thickness within lots

	DayShifts []dayshift.Shift `json:"day_shifts"` // by how much the day control moved the readings of each day

	Joined *dataset.Joined `json:"-"`
}

// Join reads all files, joins them lot by lot and writes the table to q.Out,
// whole or not at all. It returns *NothingUsableError when no lot has a row; then
// nothing is written. An unknown policy or an impossible thickness is a *RequestError.
func Join(ctx context.Context, env Env, q JoinRequest) (*JoinResult, error) {
	if q.ControlPolicy != "" && q.ControlPolicy != dataset.ControlWarn && q.ControlPolicy != dataset.ControlRefuse {
		return nil, &RequestError{Found: "control policy " + q.ControlPolicy, Want: dataset.ControlWarn + " or " + dataset.ControlRefuse}
	}
	if q.ThicknessMM != nil && !(*q.ThicknessMM > 0 && *q.ThicknessMM < 100) {
		return nil, &RequestError{Found: fmt.Sprintf("a thickness of %g mm", *q.ThicknessMM), Want: "more than 0 and less than 100 mm"}
	}
	if how := q.DayControl.How; q.DayControl.Lot != "" && how != dayshift.Difference && how != dayshift.Ratio {
		return nil, &RequestError{Found: "days shifted by " + string(how), Want: string(dayshift.Difference) + " or " + string(dayshift.Ratio)}
	}
	joined, err := dataset.Join(ctx, q.Files, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Pool: q.Pool, ControlPolicy: q.ControlPolicy, Policy: q.Policy, ThicknessMM: q.ThicknessMM, DayControl: q.DayControl})
	var control *dataset.DayControlError
	if errors.As(err, &control) {
		return nil, &RequestError{Found: control.Error(), Want: "readings of the control with every day's lots"}
	}
	if err != nil {
		return nil, err
	}
	res := &JoinResult{Schema: "flourcast.join/1", Table: q.Out, Rows: joined.Table.Len(),
		Read: joined.Counts.Read, Accepted: joined.Counts.Accepted, Waiting: joined.Counts.Waiting, Refused: joined.Counts.Refused,
		Unpaired: joined.Unpaired, Findings: joined.Findings, Thickness: append([]thickness.Slope{}, joined.Thickness...), DayShifts: append([]dayshift.Shift{}, joined.DayShifts...), Joined: joined}
	if res.Unpaired == nil {
		res.Unpaired = []dataset.Unpaired{}
	}
	if res.Rows == 0 {
		return nil, &NothingUsableError{What: "no lot with a measurement in the input", Findings: joined.Findings}
	}
	if q.Out != "" {
		var b bytes.Buffer
		if err := joined.Table.WriteCSV(&b); err != nil {
			return nil, err
		}
		if err := job.WriteWhole(q.Out, b.Bytes()); err != nil {
			return nil, err
		}
	}
	return res, nil
}
