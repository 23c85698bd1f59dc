package method

import (
	"embed"
	"path"
	"slices"
	"sync"

	"flourcast/dataset/trait"
)

//go:embed builtin/*.toml
var builtinFS embed.FS

// order of the built-in methods in lists.
var order = []string{"general-13min", "general-23min", "noodle-water", "noodle-inhibited", "cake-water", "cake-sucrose50", "stirring-number"}

var builtin = sync.OnceValue(func() []Method {
	out := make([]Method, len(order))
	for i, id := range order {
		file := path.Join("builtin", id+".toml")
		data, err := builtinFS.ReadFile(file)
		if err != nil {
			panic("method: " + err.Error())
		}
		if out[i], err = Parse(file, data); err != nil {
			panic("method: " + err.Error())
		}
	}
	return out
})

// Builtin is the embedded methods, general profiles first. The caller owns the
// slice and what is in it.
func Builtin() []Method {
	out := slices.Clone(builtin())
	for i := range out {
		out[i] = out[i].clone()
	}
	return out
}

func (m Method) clone() Method {
	m.Programme, m.ViscosityAtC = slices.Clone(m.Programme), slices.Clone(m.ViscosityAtC)
	return m
}

// Lookup finds a built-in method by id.
func Lookup(id string) (Method, bool) {
	for _, m := range builtin() {
		if m.ID == id {
			return m.clone(), true
		}
	}
	return Method{}, false
}

// SolventOf is the solvent of a built-in method; trait.UnknownSolvent when the
// id is none of them.
func SolventOf(id string) trait.Solvent {
	m, _ := Lookup(id)
	return m.Solvent
}
