package book

import (
	"encoding/json"
	"testing"

	"flourcast/dataset/labbook"
)

// How a file was read stands in books that were written before protocols and bake
// methods were kept: those settings are read as they were, and written to the same bytes.
func TestSettingsOfOldBooks(t *testing.T) {
	for _, old := range []string{
		`{"file":"c.csv","kind":"curves"}`,
		`{"file":"c.csv","kind":"curves","map":{"name":"m.toml","text":"x"},"methods":[{"name":"ours.toml","text":"y"}],"method":"ours","lot":"A"}`,
	} {
		s, err := ReadSettings(labbook.Row{Payload: []byte(old)})
		if err != nil {
			t.Fatal(err)
		}
		if again, err := json.Marshal(s); err != nil || string(again) != old {
			t.Errorf("%s became %s, %v", old, again, err)
		}
	}
}
