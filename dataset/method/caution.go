package method

import "flourcast/dataset/trait"

// Caution is one thing of a test that can hurt people or the drain. It replaces
// no safety data sheet, no local rule and no qualified person.
type Caution struct {
	Topic string `json:"topic"`
	Text  string `json:"text"`
}

// Cautions are those of every pasting test, then those of the method's solvent,
// then the method's own.
func (m Method) Cautions() []Caution {
	out := []Caution{
		{"Flour dust", "Flour dust harms lungs and can explode: weigh slowly under extraction, wipe up wet, and keep flames and sparks away."},
		{"Raw flour", "Raw flour can carry pathogens and is an allergen (wheat, gluten): wash hands and benches, and keep it away from food."},
		{"Hot paste", "Hot paste sticks and burns: let the can cool before you open or empty it, and handle it with gloves."},
		{"Tasting", "Never taste a pasting sample, before or after the test."},
	}
	switch {
	case m.Solvent == trait.Sucrose:
		out = append(out, Caution{"Hot sucrose", "Hot sucrose paste is hotter, stickier and burns deeper than paste in water: cool it longer. At altitude the programme may boil it over."})
	case m.Solvent == trait.Inhibitor && (m.Strength.Substance == SilverNitrate || !m.Strength.Known()):
		out = append(out,
			Caution{"Silver nitrate", "Silver nitrate is toxic, corrosive and an oxidiser, and stains skin and benches: follow its safety data sheet and local rules, with gloves and eye protection."},
			Caution{"Silver nitrate with alkali or ammonia", "Never bring silver nitrate together with alkali (alkaline noodle salts, lye) or ammonia: compounds that explode can form."},
			Caution{"Silver waste", "Collect paste and rinsings as silver waste, never the drain."},
			Caution{"Aluminium", "Silver nitrate attacks aluminium: use cans and paddles that stand it."},
			Caution{"Chloride", "Chloride (tap water, salt, chlorinated flour) takes silver out of solution and weakens it: use deionised water; keep the solution dark."})
	case m.Solvent == trait.Inhibitor:
		out = append(out, Caution{"Inhibitor", "Follow the safety data sheet of " + m.Strength.Substance + " and local rules, for handling and for waste."})
	}
	if m.Caution != "" {
		out = append(out, Caution{"This method", m.Caution})
	}
	return out
}
