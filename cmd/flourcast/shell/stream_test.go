package shell

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

type item struct {
	Name  string             `json:"name"`
	Given map[string]float64 `json:"given"`
	None  []string           `json:"none"`
}

type result struct {
	Schema string `json:"schema"`
	Items  []item `json:"items"`
	Last   []int  `json:"last"`
}

// long is the result written item by item.
func long(items []item, res result) (string, error) {
	l := NewLongJSON("items")
	defer l.Close()
	for _, it := range items {
		if err := l.Add(it); err != nil {
			return "", err
		}
	}
	res.Items = []item{}
	var b bytes.Buffer
	err := l.Write(&b, res)
	return b.String(), err
}

// A long list is written to the same bytes as a short one, whatever stands in it.
func TestLongJSON(t *testing.T) {
	whole := func(res result) string {
		var b bytes.Buffer
		if err := New(&b, nil).WriteJSON(res); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.Just("\n  \"items\": []"))
		res := result{Schema: text.Draw(rt, "schema"), Items: []item{}, Last: rapid.SliceOf(rapid.Int()).Draw(rt, "last")}
		for range rapid.IntRange(0, 4).Draw(rt, "n") {
			res.Items = append(res.Items, item{Name: text.Draw(rt, "name"), Given: rapid.MapOf(rapid.String(), rapid.Float64Range(-9, 9)).Draw(rt, "given")})
		}
		if got, err := long(res.Items, res); err != nil || got != whole(res) {
			rt.Fatalf("%v\n%s\nwant\n%s", err, got, whole(res))
		}
	})
	// More than is kept in memory.
	res := result{Items: make([]item, 40)}
	for i := range res.Items {
		res.Items[i].Name = strings.Repeat("x", spoolMemory/16)
	}
	if got, err := long(res.Items, res); err != nil || got != whole(res) {
		t.Errorf("a result of %d bytes: %v, %d bytes", len(whole(res)), err, len(got))
	}
}

// A temporary file that cannot be written is an error; none is left behind.
func TestLongJSONWithoutRoom(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir)
	items := make([]item, 40)
	for i := range items {
		items[i].Name = strings.Repeat("x", spoolMemory/16)
	}
	if _, err := long(items, result{}); err != nil {
		t.Fatal(err)
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "missing"))
	t.Setenv("TMP", filepath.Join(dir, "missing"))
	if _, err := long(items, result{}); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no folder for temporary files: %v", err)
	}
}
