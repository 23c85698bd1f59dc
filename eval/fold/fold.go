// Package fold splits rows into folds so that a unit (a lot, or a family of
// lots) never parts.
//
//  1. Units says what belongs together: rows of one lot, and lots of one family.
//  2. ByUnit, LeaveOneOut and ByValue make a Plan; Parse reads the short names
//     that people write.
//  3. A Plan is data: the fold of every row, for every repeat.
//
// It refuses splits that cannot be made honestly: fewer units than folds, a
// column that would part a lot, a row without the value that decides its fold.
package fold

// Plan is a split, once or repeated. Fold[r][i] is row i's fold in repeat r,
// 0…K[r]-1; every fold has at least one row.
type Plan struct {
	Scheme string // in words: "10-fold by lot", "leave one crop year out"
	Fold   [][]int
	K      []int
}
