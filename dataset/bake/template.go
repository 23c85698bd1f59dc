package bake

// Pan is a round pan for which the template's stations are known.
type Pan struct {
	Name       string
	DiameterMM float64
	Source     string
}

// Pans are the round pans of layer cakes. The standard's own list has not been seen.
func Pans() []Pan {
	return []Pan{
		{"6 in", 152.4, "AACC 10-91, from memory"},
		{"8 in", 203.2, "AACC 10-91, from memory"},
		{"9 in", 228.6, "common practice, no source"},
	}
}

// stationShare is how far B and D stand from the centre, as a share of the radius
// (AACC 10-91, from memory).
const stationShare = 3.0 / 5

// Stations are the places of A, B, C, D, E along the centre cut, mm from its middle,
// for a pan of the given diameter: −r, −3r/5, 0, 3r/5, r (AACC 10-91, from memory).
// In an 8 in pan B and D stand 61 mm from the centre.
func Stations(panDiameterMM float64) [5]float64 {
	r := panDiameterMM / 2
	return [5]float64{-r, -stationShare * r, 0, stationShare * r, r}
}

// PanOf is the pan whose diameter lies within 2 % of the one given (203 mm and 8 in
// are one pan).
func PanOf(diameterMM float64) (Pan, bool) {
	for _, p := range Pans() {
		if diameterMM >= 0.98*p.DiameterMM && diameterMM <= 1.02*p.DiameterMM {
			return p, true
		}
	}
	return Pan{}, false
}
