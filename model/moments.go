package model

import (
	"flourcast/model/design"
	"flourcast/model/moment"
)

// XMoments are the features' part of a data set's cross-products.
type XMoments = moment.X

// YMoments are one response's part.
type YMoments = moment.Y

// Moments are everything a least-squares method needs to know of its rows. The
// names go into errors.
type Moments struct {
	X        XMoments
	Y        YMoments
	Features []string
	Response string
}

// NewMoments forms the moments of all rows of m. It returns a *RangeError, or a
// *NoVarianceError naming the features, or else the response, that do not vary.
func NewMoments(kind string, m *design.Matrix) (Moments, error) {
	b, err := moment.NewBase(m, 1)
	if err != nil {
		return Moments{}, err
	}
	y, err := b.Target(m.Response(), m.Y())
	if err != nil {
		return Moments{}, err
	}
	mo := MomentsOf(b, b.Response(y), m)
	return mo, mo.CheckVariance(kind)
}

// MomentsOf are those of all rows of a base of m, in the base's own memory: it has
// no products any more.
func MomentsOf(b *moment.Base, y *moment.Response, m *design.Matrix) Moments {
	mo := Moments{Features: m.Features(), Response: m.Response()}
	b.Whole().Moments(&mo.X)
	y.Whole().Moments(b.Whole(), y, &mo.Y)
	return mo
}

// CheckVariance returns a *NoVarianceError naming features, or else the
// response, without variance.
func (mo Moments) CheckVariance(kind string) error {
	var flat []string
	for j := range mo.X.P {
		if mo.X.XX[j*mo.X.P+j] <= 0 {
			flat = append(flat, mo.Features[j])
		}
	}
	if flat != nil {
		return &NoVarianceError{Kind: kind, Features: flat}
	}
	if mo.Y.YY <= 0 {
		return &NoVarianceError{Kind: kind, Response: mo.Response}
	}
	return nil
}

// InverseScale writes InverseOf each feature into inv.
func InverseScale(x XMoments, scaling Scaling, inv []float64) {
	for j := range inv {
		inv[j] = InverseOf(x.XX[j*x.P+j], x.N, scaling)
	}
}

// InverseOf is 1/SD (n − 1) of a feature with sum of squares ss over n rows for
// ScaleUnit, 1 for ScaleNone, and 0 for a feature without variance.
func InverseOf(ss float64, n int, scaling Scaling) float64 {
	return moment.InverseScale(ss, n, scaling != ScaleNone)
}
