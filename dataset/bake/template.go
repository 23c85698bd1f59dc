package bake

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
