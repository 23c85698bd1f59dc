package cell

import "testing"

func TestClock(t *testing.T) {
	tests := []struct {
		text    string
		minutes bool
		want    float64
		ok      bool
	}{
		{"0:03:42", false, 222, true}, {"00:03:42.5", false, 222.5, true}, {"1:00:00", false, 3600, true}, {"3:42", true, 222, true}, {"03:42,5", true, 222.5, true},
		{"3:42", false, 0, false}, {"3:99", true, 0, false}, {"1:2:3:4", true, 0, false}, {"-1:00", true, 0, false}, {":", true, 0, false}, {"1:", true, 0, false},
		{"1.5:00", true, 0, false}, {"a:b", true, 0, false}, {"1e3:00", true, 0, false}, {"12", true, 0, false}, {"1:.", true, 0, false},
	}
	for _, tt := range tests {
		if got, ok := Clock(tt.text, tt.minutes); ok != tt.ok || ok && got != tt.want {
			t.Errorf("Clock(%q, %v) = %v, %v, want %v, %v", tt.text, tt.minutes, got, ok, tt.want, tt.ok)
		}
	}
}

func TestDate(t *testing.T) {
	tests := []struct{ text, order, want string }{
		{"2026-03-14", "", "2026-03-14T00:00:00Z"}, {"2026-03-14 09:05", "", "2026-03-14T09:05:00Z"}, {"2026-03-14T09:05:06", "", "2026-03-14T09:05:06Z"},
		{"20260314", "", "2026-03-14T00:00:00Z"}, {"14.3.2026", "", "2026-03-14T00:00:00Z"}, {"04.03.2026 7:30", "", "2026-03-04T07:30:00Z"},
		{"14 Mar 2026", "", "2026-03-14T00:00:00Z"}, {"14-Mar-2026", "", "2026-03-14T00:00:00Z"}, {"March 14, 2026", "", "2026-03-14T00:00:00Z"},
		{"14/3/2026", "", "2026-03-14T00:00:00Z"}, {"3/14/2026", "", "2026-03-14T00:00:00Z"}, {"3/3/2026", "", "2026-03-03T00:00:00Z"},
		{"3/4/2026", "d/m/y", "2026-04-03T00:00:00Z"}, {"3/4/2026", "m/d/y", "2026-03-04T00:00:00Z"}, {"3-4-2026", "d/m/y", "2026-04-03T00:00:00Z"},
		{"3/4/2026", "", ""}, {"14/3/2026", "m/d/y", ""}, {"14.3.26", "", ""}, {"2026", "", ""}, {"2026-02-30", "", ""}, {"45000", "", ""}, {"yesterday", "", ""}, {"", "", ""},
	}
	for _, tt := range tests {
		got, ok := Date(tt.text, tt.order)
		if ok != (tt.want != "") || ok && got.Format("2006-01-02T15:04:05Z07:00") != tt.want {
			t.Errorf("Date(%q, %q) = %v, %v, want %q", tt.text, tt.order, got, ok, tt.want)
		}
	}
}
