package pasting_test

import (
	"fmt"

	"flourcast/dataset/method"
	"flourcast/dataset/pasting"
)

// made is an invented run of straight lines, a point every 4 s: flat to 170 s, up to a peak at
// 320 s, down to a trough at 480 s, up to a final viscosity at 660 s.
func made(until float64) pasting.Curve {
	corners := []struct{ t, v float64 }{{0, 50}, {170, 50}, {320, 2600}, {480, 1500}, {660, 2900}, {780, 2950}}
	var c pasting.Curve
	for t := 0.0; t <= until; t += 4 {
		for i := 1; i < len(corners); i++ {
			from, to := corners[i-1], corners[i]
			if t <= to.t {
				c.TimeS = append(c.TimeS, t)
				c.ViscosityMPas = append(c.ViscosityMPas, from.v+(to.v-from.v)*(t-from.t)/(to.t-from.t))
				break
			}
		}
	}
	return c
}

// The features of one run by a method. The temperature was not recorded here, so
// that the method's programme stands for it.
func ExampleExtract() {
	m, ok := method.Lookup("noodle-water")
	if !ok {
		fmt.Println("no such method")
		return
	}
	features, findings := pasting.Extract(made(780), m)
	for _, id := range []string{"pasting_temp_C", "peak_mPas", "trough_mPas", "breakdown_mPas", "final_mPas", "setback_trough_mPas", "setback_peak_mPas"} {
		if value, ok := features.Get(id); ok {
			fmt.Printf("%s %.1f\n", id, value)
		}
	}
	for _, f := range findings {
		fmt.Println(f.Severity, f.Code)
	}
	// Output:
	// pasting_temp_C 73.1
	// peak_mPas 2588.6
	// trough_mPas 1510.0
	// breakdown_mPas 1078.7
	// final_mPas 2950.0
	// setback_trough_mPas 1440.0
	// setback_peak_mPas 361.4
	// note temperature-from-programme
}

// A record that stops early has a peak and no final viscosity: absent, never zero.
func ExampleExtract_short() {
	m, _ := method.Lookup("noodle-water")
	features, findings := pasting.Extract(made(400), m)
	peak, ok := features.Get("peak_mPas")
	fmt.Printf("peak %.0f %v\n", peak, ok)
	_, ok = features.Get("final_mPas")
	fmt.Println("final", ok)
	for _, f := range findings {
		fmt.Println(f.Severity, f.Code)
	}
	// Output:
	// peak 2589 true
	// final false
	// note temperature-from-programme
	// doubt record-short
	// doubt no-cooling
}

// Old records come as values. The two setbacks of the trade have two names, and
// what follows from the others is filled in.
func ExampleFromValues() {
	features, findings := pasting.FromValues(map[string]float64{"peak_mPas": 2600, "trough_mPas": 1500, "final_mPas": 2900})
	for _, id := range []string{"breakdown_mPas", "setback_trough_mPas", "setback_peak_mPas"} {
		v, _ := features.Get(id)
		fmt.Printf("%s %.0f\n", id, v)
	}
	fmt.Println(len(findings), "findings")
	// Output:
	// breakdown_mPas 1100
	// setback_trough_mPas 1400
	// setback_peak_mPas 300
	// 0 findings
}
