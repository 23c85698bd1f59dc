package trait

// Unit is a unit of measure as the program knows it: the symbol it prints, its
// dimension, and the factor and offset to the dimension's base unit.
type Unit struct {
	Symbol    string
	Dimension string
	factor    float64
	offset    float64
}
