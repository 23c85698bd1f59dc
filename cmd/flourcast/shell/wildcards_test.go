package shell

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

func TestOpenWildcards(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"curves-b.csv", "curves-a.csv", "lots.csv", "v_0"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	for _, c := range []struct{ args, want []string }{
		{[]string{"join", "--curves", in("curves-*.csv"), "--lots", in("lots.csv")}, []string{"join", "--curves", in("curves-a.csv"), in("curves-b.csv"), "--lots", in("lots.csv")}},
		{[]string{in("curves-?.csv")}, []string{in("curves-a.csv"), in("curves-b.csv")}},
		{[]string{"--features", in("v_*")}, []string{"--features", in("v_*")}},                 // columns, not files
		{[]string{in("none-*.csv"), in("[-*.csv")}, []string{in("none-*.csv"), in("[-*.csv")}}, // said to be missing later
		{[]string{"--out=" + in("*.csv")}, []string{"--out=" + in("*.csv")}},
	} {
		if got := OpenWildcards(c.args); !slices.Equal(got, c.want) {
			t.Errorf("%v: %v, want %v", c.args, got, c.want)
		}
	}
}
