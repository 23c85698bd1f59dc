package linear_test

import (
	"errors"
	"fmt"

	"flourcast/model"
	"flourcast/model/design"
	"flourcast/model/linear"
)

// Least squares of invented lots: the coefficient, how sure it is, and a forecast.
func ExampleOLS_Regress() {
	m, err := design.New(design.Spec{
		Features: []string{"peak_mPas"},
		Response: "hardness_N",
		X:        [][]float64{{3200}, {2900}, {2500}, {2200}, {1900}, {1700}},
		Y:        []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5},
		Lots:     []string{"L1", "L2", "L3", "L4", "L5", "L6"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := linear.OLS{}.Regress(m)
	if err != nil {
		fmt.Println(err)
		return
	}
	_, se := fit.StandardErrors()
	fmt.Printf("%.5f N for each mPa·s, standard error %.5f, R² %.2f\n", fit.Linear().Coefficients[0], se[0], fit.R2())
	fmt.Printf("at 2400 mPa·s: %.2f N\n", fit.Predict([]float64{2400}))
	// Output:
	// -0.00099 N for each mPa·s, standard error 0.00006, R² 0.98
	// at 2400 mPa·s: 3.78 N
}

// Breakdown is peak − trough, so that three of them are two figures: least squares
// says which depends on which and does not guess.
func ExampleOLS_Fit_dependence() {
	m, err := design.New(design.Spec{
		Features: []string{"peak_mPas", "trough_mPas", "breakdown_mPas"},
		Response: "hardness_N",
		X:        [][]float64{{3200, 2300, 900}, {2900, 2250, 650}, {2500, 1900, 600}, {2200, 1700, 500}, {1900, 1550, 350}, {1700, 1300, 400}},
		Y:        []float64{3.0, 3.3, 3.6, 4.1, 4.2, 4.5},
		Lots:     []string{"L1", "L2", "L3", "L4", "L5", "L6"},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	_, err = linear.OLS{}.Fit(m)
	var rank *model.RankError
	fmt.Println(errors.As(err, &rank))
	fmt.Println(err)
	// Output:
	// true
	// ols: found rank 2 of 3 features (breakdown_mPas = peak_mPas − trough_mPas), expected features that do not determine each other; leave one of each equation out, or use ridge or pls
}
