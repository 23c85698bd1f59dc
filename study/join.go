package study

import (
	"bytes"
	"context"

	"flourcast/dataset"
	"flourcast/dataset/pasting/conformity"
	"flourcast/finding"
	"flourcast/study/job"
)

// JoinRequest names the files of a laboratory by kind. Out, when not empty, is
// where the table is written.
type JoinRequest struct {
	Files         dataset.Files
	Pool          []string          // fields whose differences the user accepts: instrument, water …
	ControlPolicy string            // what becomes of runs of a day out of control: "warn" (or ""), "refuse"
	Policy        conformity.Policy // what deviations of a curve from its method do to the run
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

	Joined *dataset.Joined `json:"-"`
}

// Join reads all files, joins them lot by lot and writes the table to q.Out,
// whole or not at all. It returns *NothingUsableError when no lot has a row; then
// nothing is written. An unknown policy is a *RequestError.
func Join(ctx context.Context, env Env, q JoinRequest) (*JoinResult, error) {
	if q.ControlPolicy != "" && q.ControlPolicy != dataset.ControlWarn && q.ControlPolicy != dataset.ControlRefuse {
		return nil, &RequestError{Found: "control policy " + q.ControlPolicy, Want: dataset.ControlWarn + " or " + dataset.ControlRefuse}
	}
	joined, err := dataset.Join(ctx, q.Files, dataset.JoinOptions{Cores: env.Cores, Progress: env.Report(), Pool: q.Pool, ControlPolicy: q.ControlPolicy, Policy: q.Policy})
	if err != nil {
		return nil, err
	}
	res := &JoinResult{Schema: "flourcast.join/1", Table: q.Out, Rows: joined.Table.Len(),
		Read: joined.Counts.Read, Accepted: joined.Counts.Accepted, Waiting: joined.Counts.Waiting, Refused: joined.Counts.Refused,
		Unpaired: joined.Unpaired, Findings: joined.Findings, Joined: joined}
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
