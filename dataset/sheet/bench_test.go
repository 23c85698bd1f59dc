package sheet

import (
	"fmt"
	"strings"
	"testing"
)

// curve is a curve file of 800 rows, as one run of a pasting test gives.
func curve() []byte {
	var b strings.Builder
	b.WriteString("lot,method,replicate,time_s,temperature_C,viscosity_mPas\n")
	for i := range 800 {
		fmt.Fprintf(&b, "W24-117,noodle-water,1,%d,%.2f,%.1f\n", i, 50+float64(i)/20, 35+float64(i*i%3000))
	}
	return []byte(b.String())
}

// BenchmarkRead opens a curve file and reads its three numbers in every row.
func BenchmarkRead(b *testing.B) {
	data := curve()
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		s, err := Read("f.csv", data, nil)
		if err != nil {
			b.Fatal(err)
		}
		columns := []int{s.Column("time_s"), s.Column("temperature_C"), s.Column("viscosity_mPas")}
		sum := 0.0
		for row, bad := range s.Rows() {
			if bad != nil {
				b.Fatal(bad)
			}
			for _, c := range columns {
				v, _, _ := s.Value(row, c)
				sum += v
			}
		}
		if sum == 0 {
			b.Fatal("nothing read")
		}
	}
}
