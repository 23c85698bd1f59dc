package shell

import (
	"strings"
	"testing"
)

func TestExpandLists(t *testing.T) {
	cases := []struct{ in, want string }{
		{"join --lots l.csv --curves a.csv b.csv c.csv -o t.csv", "join --lots l.csv --curves a.csv --curves b.csv --curves c.csv -o t.csv"},
		{"join --curves=a.csv b.csv --json", "join --curves=a.csv --curves b.csv --json"},
		{"report m.json --curves a.csv b.csv", "report m.json --curves a.csv --curves b.csv"},
		{"report m.json -o r.html", "report m.json -o r.html"},
		{"forecast m.json a.csv b.csv --lots l.csv", "forecast m.json a.csv b.csv --lots l.csv"},
		{"", ""},
	}
	for _, c := range cases {
		if got := strings.Join(ExpandLists(strings.Fields(c.in)), " "); got != c.want {
			t.Errorf("%s\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}
