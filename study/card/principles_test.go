package card

import (
	"strings"
	"testing"
)

// Every principle and item is answered or said to be missing, and what the file
// holds is in the answers.
func TestItems(t *testing.T) {
	c := sample(t)
	var oecd, missing int
	all := ""
	for _, i := range c.Items() {
		if i.Asks == "" || i.Says == "" || i.Item == "" {
			t.Errorf("%+v", i)
		}
		if i.Standard == OECD {
			oecd++
		}
		if !i.Given {
			missing++
		}
		all += i.Says + "\n"
	}
	if oecd != 5 || missing == 0 {
		t.Errorf("%d principles, %d items missing: five principles, and what only people know", oecd, missing)
	}
	for _, want := range []string{c.Source.File, c.Features[0], "hardness", c.Verdict.Sentence} {
		if want != "" && !strings.Contains(all, want) {
			t.Errorf("nowhere said: %q", want)
		}
	}
	empty := &Card{Response: "own_column"}
	for _, i := range empty.Items() {
		if i.Item == "3" && i.Given || i.Says == "" {
			t.Errorf("an empty file: %+v", i)
		}
	}
}
