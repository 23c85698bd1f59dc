package domain

import "math"

// Screened sets lots that were screened but not measured against the measured
// ones: were the right lots chosen for measuring?
type Screened struct {
	Lots    int `json:"lots"` // screened, not measured
	Inside  int `json:"inside"`
	Edge    int `json:"edge"`
	Outside int `json:"outside"`
	// Gap is how many stand farther from every measured lot than those do among
	// themselves (see Nearest.Spacing; 5 % by definition if they are alike).
	Gap int `json:"gap"`
	// Share is Inside over Lots; about 0.9 is expected of lots like the measured.
	Share    float64   `json:"share_inside"`
	Features []Feature `json:"features"`
	// Missed are the screened lots outside, which to measure next.
	Missed []string `json:"outside_lots"`
}

// Feature is how one feature of the unmeasured lots compares: the difference of
// their mean from the measured lots' in SDs of those, the ratio of the SDs, and
// the share of them within the measured range. Absent where the measured lots do
// not vary.
type Feature struct {
	Name    string   `json:"feature"`
	Shift   *float64 `json:"shift_sd"`
	SDRatio *float64 `json:"sd_ratio"`
	Within  float64  `json:"share_within_range"`
}

// Screen places lots (k×p, in Build's order and units) that were screened and not
// measured, names beside them. ok is false without any. It panics as Place does.
func (d *Domain) Screen(names []string, x [][]float64) (Screened, bool) {
	out := Screened{Lots: len(x), Features: []Feature{}, Missed: []string{}}
	if len(x) == 0 {
		return out, false
	}
	for i, row := range x {
		p := d.Place(row)
		switch p.Where {
		case Inside:
			out.Inside++
		case Edge:
			out.Edge++
		default:
			out.Outside++
			out.Missed = append(out.Missed, names[i])
		}
		if p.Nearest.Distance > p.Nearest.Spacing {
			out.Gap++
		}
	}
	k := float64(len(x))
	out.Share = float64(out.Inside) / k
	for j, name := range d.features {
		f := Feature{Name: name}
		mean, within := 0.0, 0
		for i, row := range x {
			mean += (row[j] - mean) / float64(i+1)
			if row[j] >= d.low[j] && row[j] <= d.high[j] {
				within++
			}
		}
		f.Within = float64(within) / k
		if d.sd[j] > 0 {
			shift := (mean - d.mean[j]) / d.sd[j]
			f.Shift = &shift
			if len(x) > 1 {
				ss := 0.0
				for _, row := range x {
					ss += (row[j] - mean) * (row[j] - mean)
				}
				ratio := math.Sqrt(ss/(k-1)) / d.sd[j]
				f.SDRatio = &ratio
			}
		}
		out.Features = append(out.Features, f)
	}
	return out, true
}
