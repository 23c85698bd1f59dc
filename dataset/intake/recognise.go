package intake

import (
	"slices"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
)

// Recognise tells from its columns what a file holds; false when nothing fits. How a
// lot ran is said in production notes only.
// Time with viscosity is a curve, force with time or distance a texture test from its
// curve. Results come next, then pasting figures (with an expiry they are those
// assigned to a control flour), then the words of runs, events and lots. A file with
// replicates and no figure that can be used is none of them.
func Recognise(s *sheet.Sheet) (Kind, bool) {
	has := func(ids ...string) bool {
		return !slices.ContainsFunc(ids, func(id string) bool { return s.Column(id) < 0 })
	}
	families := map[string]int{}
	features := 0
	for k := range s.Columns {
		h, ok := s.Header(k)
		switch {
		case !ok:
		case h.Trait.Role == trait.RoleFeature:
			features++
		case h.Trait.Numeric() && (h.Trait.Family == "texture" || h.Trait.Family == "bake"):
			families[h.Trait.Family]++
		}
	}
	switch {
	case has("lot", "ran"):
		return Notes, true
	case has("viscosity_mPas"):
		return Curves, true
	case has("force_N") && (has("time_s") || has("distance_mm")):
		return Texture, true
	case families["texture"] > 0 && families["texture"] >= families["bake"] && has("lot"):
		return Texture, true
	case families["bake"] > 0 && has("lot"):
		return Bakes, true
	case features > 0 && has("lot", "expires_on"):
		return Controls, true
	case features > 0 && (has("lot") || has("run")):
		return Pasting, true
	case has("lot") && (has("run") || has("flour_g") || has("status", "kind")):
		return Runs, true
	case !has("lot") && has("tested_at", "kind"):
		return Events, true
	case has("lot") && !has("replicate") && !has("protocol") && !has("method") && len(s.Columns) > 1:
		return Lots, true
	}
	return "", false
}
