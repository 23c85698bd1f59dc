package phrase

import (
	"flourcast/dataset/trait"
	"flourcast/dataset/treatment"
)

// Names are the glossary's names as a catalogue of sentences may have them in another
// language: "name." and a column, "product." and a product, "treatment." and a kind, each
// with its English text.
func Names() map[string]string {
	out := map[string]string{}
	for _, t := range trait.All() {
		out["name."+t.ID] = t.Label
	}
	for _, p := range trait.Products() {
		out["product."+p.ID] = p.Label
	}
	for _, k := range []treatment.Kind{treatment.None, treatment.Chlorinated, treatment.Bromated, treatment.Heat, treatment.Other} {
		out["treatment."+string(k)] = string(k)
	}
	return out
}
