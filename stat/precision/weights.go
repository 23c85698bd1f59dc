package precision

import "fmt"

// Weights are the weights 1/SE² of figures whose standard errors are given, scaled to
// a mean of 1, and how many figures of one weight know as much: (Σw)²/Σw² (Kish 1965,
// Survey Sampling, from memory). It panics on a standard error that is not above 0.
func Weights(se []float64) (w []float64, effective float64) {
	sum, squares := 0.0, 0.0
	w = make([]float64, len(se))
	for i, s := range se {
		if !(s > 0) {
			panic(fmt.Sprintf("precision: Weights of a standard error of %g", s))
		}
		w[i] = 1 / (s * s)
		sum += w[i]
	}
	for i := range w {
		w[i] *= float64(len(se)) / sum
		squares += w[i] * w[i]
	}
	return w, float64(len(se)) * float64(len(se)) / squares
}
