package cell

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// Clock reads a time with colons, in seconds: h:mm:ss always, mm:ss when minutes
// is true. The seconds may have decimals, with a point or comma. ok is false
// for anything else.
func Clock(text string, minutes bool) (seconds float64, ok bool) {
	parts := strings.Split(text, ":")
	if len(parts) != 3 && !(len(parts) == 2 && minutes) {
		return 0, false
	}
	for i, p := range parts {
		last := i == len(parts)-1
		if last {
			p = strings.Replace(p, ",", ".", 1)
		}
		if strings.Trim(p, "0123456789.") != "" || !last && strings.Contains(p, ".") {
			return 0, false
		}
		n, err := strconv.ParseFloat(p, 64)
		if err != nil || math.IsInf(n, 0) || i > 0 && n >= 60 {
			return 0, false
		}
		seconds = seconds*60 + n
	}
	return seconds, !math.IsInf(seconds, 0)
}

// days are the ways to write a day that can be read one way only; with points,
// the day comes first.
var days = []string{"2006-01-02", "2006-1-2", "20060102", "2006/1/2", "2.1.2006", "2 Jan 2006", "2-Jan-2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006"}

// orders are the layouts of a day whose order must be known.
var orders = map[string][]string{"d/m/y": {"2/1/2006", "2-1-2006"}, "m/d/y": {"1/2/2006", "1-2-2006"}}

var clocks = []string{"", " 15:04", " 15:04:05", "T15:04", "T15:04:05", "T15:04:05Z07:00", " 3:04 PM"}

// Date reads a day, or a day and a time, by the clock of the place where it was
// written (UTC, unless the text has a zone). order is "d/m/y", "m/d/y" or empty; without it
// 3/4/2026 is refused and 3/14/2026 is read, for only one order makes a date.
// The year has four digits.
func Date(text, order string) (t time.Time, ok bool) {
	if t, ok := parse(text, days); ok {
		return t, true
	}
	if order != "" {
		return parse(text, orders[order])
	}
	dmy, ok1 := parse(text, orders["d/m/y"])
	mdy, ok2 := parse(text, orders["m/d/y"])
	switch {
	case ok1 && (!ok2 || dmy.Equal(mdy)):
		return dmy, true
	case ok2 && !ok1:
		return mdy, true
	}
	return time.Time{}, false
}

func parse(text string, layouts []string) (time.Time, bool) {
	for _, day := range layouts {
		for _, clock := range clocks {
			if t, err := time.Parse(day+clock, text); err == nil {
				return t, true
			}
		}
	}
	return time.Time{}, false
}
