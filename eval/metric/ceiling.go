package metric

// NoiseCeiling is the highest Q² that the error of the measured values themselves
// allows a model without error of its own:
//
//	1 − se²/s²
//
// with s² the variance of measured (n − 1) and se the standard error of one of them
// (of a lot's mean), in the same unit. It is 0 where the error is all there is (the
// ratio of true to observed variance, reliability; Spearman 1904, Am J Psychol 15:72,
// from memory). ok is false for fewer than two values, values that do not vary, or
// an se that is negative or not finite.
func NoiseCeiling(measured []float64, se float64) (float64, bool) {
	s := SD(measured)
	if len(measured) < 2 || !(s > 0) || !(se >= 0) {
		return 0, false
	}
	ratio := se / s
	return max(0, 1-ratio*ratio), true
}
