package precision

// rangeFactors are what ISO 5725-6:1994, table 1, gives for 2, 3, … 10 results (from
// memory): the 95 % point of the range of so many standard normal figures, to one
// decimal.
var rangeFactors = []float64{2.8, 3.3, 3.6, 3.9, 4.0, 4.2, 4.3, 4.4, 4.5}

// CriticalRange is by how much the largest and the smallest of n results under
// repeatability conditions differ at most in 95 % of cases, where repeatSD is the
// repeatability standard deviation s_r:
//
//	CR(n) = f(n)·s_r
//
// For two results it is the repeatability limit r. ok is false below 2 and above 10
// results.
func CriticalRange(n int, repeatSD float64) (limit float64, ok bool) {
	if n < 2 || n > 1+len(rangeFactors) {
		return 0, false
	}
	return rangeFactors[n-2] * repeatSD, true
}
