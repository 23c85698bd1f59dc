package trait

// Product is what a flour is made into, or a class of products. Parent is the
// class it belongs to; empty at the top.
type Product struct{ ID, Label, Parent string }

var products = []Product{
	{"noodle", "noodle", ""},
	{"white-salted-noodle", "white salted noodle", "noodle"},
	{"soft-bite-noodle", "soft-bite noodle (udon style)", "white-salted-noodle"},
	{"firm-bite-noodle", "firm-bite noodle", "noodle"},
	{"alkaline-noodle", "alkaline noodle", "noodle"},
	{"cake", "cake", ""},
	{"layer-cake", "layer cake (high sugar)", "cake"},
	{"sponge-cake", "sponge cake", "cake"},
	{"extruded", "extruded product", ""},
}

// Products are the built-in ones.
func Products() []Product { return append([]Product(nil), products...) }

// LookupProduct finds a built-in product by its id.
func LookupProduct(id string) (Product, bool) {
	for _, p := range products {
		if p.ID == id {
			return p, true
		}
	}
	return Product{}, false
}

// Ancestors returns the product itself, then its class, the class of that, and
// so on. A product that is not built in has only itself; none has none.
func Ancestors(product string) []string {
	var out []string
	for product != "" {
		out = append(out, product)
		p, _ := LookupProduct(product)
		product = p.Parent
	}
	return out
}

// Solvent is the liquid of a pasting test. Its strength belongs to the method.
type Solvent string

// The solvents. UnknownSolvent answers only rules that hold in any solvent.
const (
	Water          Solvent = "water"
	Inhibitor      Solvent = "inhibitor" // a solution that stops alpha-amylase, such as silver nitrate
	Sucrose        Solvent = "sucrose"
	UnknownSolvent Solvent = ""
)
