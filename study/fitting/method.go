package fitting

import (
	"errors"
	"fmt"

	"flourcast/dataset/pasting/whole"
	"flourcast/model"
	"flourcast/model/catalog"
	"flourcast/model/design"
	"flourcast/model/linear"
	"flourcast/model/pls"
	"flourcast/model/transform"
	"flourcast/study/anatomy"
	"flourcast/study/job"
)

// fitter makes the method that was asked for. Errors are *job.RequestError.
func (q Request) fitter() (model.Fitter, error) {
	o := catalog.Options{Components: q.Components, Lambda: q.Lambda, Scaling: q.Scaling, Origin: q.Origin, Window: q.Window, Degree: q.Degree}
	refuse := func(found, want string) (model.Fitter, error) {
		return nil, &job.RequestError{Found: found, Want: want}
	}
	o.Weighted = q.Weights != ""
	if q.Origin && q.Kind != "ols" {
		return refuse("no intercept for "+q.Kind, "kind ols")
	}
	switch q.Transform {
	case "":
	case "log":
		o.Log = true
	default:
		return refuse(fmt.Sprintf("transform %q", q.Transform), "log, or none")
	}
	switch q.Derivative {
	case "", "0":
	case "1":
		o.Orders = []int{1}
	case "2":
		o.Orders = []int{2}
	case "choose":
		o.Orders = []int{0, 1, 2}
	default:
		return refuse(fmt.Sprintf("derivative %q", q.Derivative), "0, 1, 2 or choose")
	}
	f, err := catalog.New(q.Kind, o)
	var kind *catalog.KindError
	switch {
	case errors.As(err, &kind):
		return refuse(fmt.Sprintf("kind %q (%v)", q.Kind, err), fmt.Sprint("one of ", catalog.Kinds()))
	case err != nil:
		return refuse(err.Error(), "settings that the method has")
	}
	return f, nil
}

// fits says whether the matrix has what the request's options need: whole curves
// for a derivative, responses above zero for a logarithm. Errors are *job.RequestError.
func (q Request) fits(m *design.Matrix) error {
	if q.Derivative != "" && q.Derivative != "0" {
		if err := whole.Even(m.Features()); err != nil {
			return &job.RequestError{Found: err.Error(), Want: "the columns of one whole curve for a derivative", Do: "name them with --features 'v_*'"}
		}
	}
	if q.Transform == "log" {
		for i, y := range m.Y() {
			if y <= 0 {
				err := &transform.PositiveError{Row: i, Lot: m.Lots()[i], Response: m.Response(), Value: y}
				return &job.RequestError{Found: err.Error(), Want: "a response above zero for --transform log", Do: "leave the lot out, or leave --transform out"}
			}
		}
	}
	return nil
}

// open gathers what the method says of itself, through the transforms around it.
func (f *fit) open() error {
	in, err := anatomy.Open(f.fitted, f.m)
	if err != nil {
		return err
	}
	f.filter = in.Filter
	switch v := in.Fitted.(type) {
	case *linear.OLSModel:
		figures, found, err := anatomy.OLS(v, in.Matrix)
		if err != nil {
			return err
		}
		f.ols = figures
		f.findings = append(f.findings, found...)
	case *pls.Model:
		f.pls = anatomy.PLS(v, in.Matrix)
	}
	return nil
}

// settingError makes what a method refuses of its settings the request's fault.
func settingError(err error) error {
	var setting *model.SettingError
	if errors.As(err, &setting) {
		return &job.RequestError{Found: err.Error(), Want: "settings that the method can use on these rows"}
	}
	return err
}
