// Package eval asks how well a method predicts lots it has not seen.
//
//  1. CrossValidate predicts every row from models that never saw its lot, for
//     every step of the method's path, beside the mean model on the same folds.
//  2. Choose takes the smallest step within one standard error of the best.
//  3. Nested makes that choice inside each training part, so that the reported
//     error comes from lots that the choice never saw.
//  4. Permute repeats Nested on shuffled responses: how often does chance do as
//     well?
//
// A method that works from cross-products is fitted by subtraction (see
// model.Base); any other, and any part where subtraction would lose digits, by
// fitting its rows. Both give the same figures. It names no method. It refuses a
// response without variance, a plan that does not split, and a training part
// that the method cannot fit (a *FoldError says which).
package eval

// CV is a cross-validation of every step of a path.
type CV struct {
	Scheme string
	Labels []string
	// PRESS is the sum of squared errors of each step over rows and repeats, and
	// MeanPRESS that of the mean model on the same folds.
	PRESS     []float64
	MeanPRESS float64
	// RMSECV is √(PRESS/(rows·repeats)), Q2 is 1 − PRESS/MeanPRESS.
	RMSECV, Q2 []float64
	// Predicted and Squared are the mean prediction and mean squared error over
	// repeats, [step][row].
	Predicted, Squared [][]float64
	// Chosen is the step of Choose, or the last one for a settled method.
	Chosen int
}

// Honest is a nested cross-validation: the step was chosen inside each training
// part.
type Honest struct {
	RMSECV, Q2 float64
	// Predicted is the out-of-fold prediction of each row, mean over repeats.
	Predicted        []float64
	PRESS, MeanPRESS float64
	// Picks is the chosen step, [repeat][fold].
	Picks [][]int
	// MSECV is PRESS/(rows·repeats).
	MSECV float64
}
