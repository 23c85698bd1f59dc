package book

import (
	"context"
	"errors"
	"slices"

	"flourcast/dataset/baking"
	"flourcast/dataset/labbook"
	"flourcast/dataset/labbook/medium"
	"flourcast/dataset/method"
	"flourcast/dataset/protocol"
	"flourcast/study/job"
)

// Rules are the laboratory's own files that say how tests are run: pasting methods,
// texture protocols and bake methods.
type Rules struct {
	Methods     []Text `json:"methods,omitempty"`
	Protocols   []Text `json:"protocols,omitempty"`
	BakeMethods []Text `json:"bake_methods,omitempty"`
}

// ReadRules reads the files of pasting methods, texture protocols and bake methods.
func ReadRules(methods, protocols, bakeMethods []string) (r Rules, err error) {
	for _, of := range []struct {
		paths []string
		into  *[]Text
	}{{methods, &r.Methods}, {protocols, &r.Protocols}, {bakeMethods, &r.BakeMethods}} {
		for _, path := range of.paths {
			t, err := ReadText(path)
			if err != nil {
				return Rules{}, err
			}
			*of.into = append(*of.into, t)
		}
	}
	return r, nil
}

// parsed are Rules as they are used.
type parsed struct {
	methods     []method.Method
	protocols   []protocol.Protocol
	bakeMethods []baking.Method
}

func (r Rules) parse() (out parsed, err error) {
	if out.methods, err = parseAll(r.Methods, method.Parse); err != nil {
		return parsed{}, err
	}
	if out.protocols, err = parseAll(r.Protocols, protocol.Parse); err != nil {
		return parsed{}, err
	}
	out.bakeMethods, err = parseAll(r.BakeMethods, baking.Parse)
	return out, err
}

func parseAll[T any](texts []Text, parse func(name string, data []byte) (T, error)) (out []T, err error) {
	for _, t := range texts {
		v, err := parse(t.Name, []byte(t.Text))
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

func methodID(m method.Method) string       { return m.ID }
func protocolID(p protocol.Protocol) string { return p.ID }
func bakeMethodID(m baking.Method) string   { return m.ID }

// KeepRules writes down the laboratory's own rules that a call came with, by their id.
// One that the book has in the same words is not written again; of two wordings of an
// id the later one counts, and both stay.
func KeepRules(tx *labbook.Tx, env job.Env, r Rules, operator string) error {
	p, err := r.parse()
	if err != nil {
		return err
	}
	for i, t := range r.Methods {
		if err := keepRule(tx, env, labbook.Method, p.methods[i].ID, t, "--method-file", operator); err != nil {
			return err
		}
	}
	for i, t := range r.Protocols {
		if err := keepRule(tx, env, labbook.Protocol, p.protocols[i].ID, t, "--protocol-file", operator); err != nil {
			return err
		}
	}
	for i, t := range r.BakeMethods {
		if err := keepRule(tx, env, labbook.BakeMethod, p.bakeMethods[i].ID, t, "--bake-method-file", operator); err != nil {
			return err
		}
	}
	return nil
}

func keepRule(tx *labbook.Tx, env job.Env, kind labbook.Kind, id string, t Text, flag, operator string) error {
	r := Row(env, kind, operator)
	r.Key, r.Source = id, medium.Sum([]byte(t.Text))
	var err error
	if r.Payload, err = encode(t); err != nil {
		return err
	}
	last, err := tx.First(labbook.Filter{Kinds: []labbook.Kind{kind}, Keys: []string{id}, Limit: 1, Bare: true})
	if err == nil && last.Source == r.Source {
		return nil
	}
	if err == nil {
		r.Corrects, r.Reason = last.ID, "another wording was given with "+flag
	} else if !errors.Is(err, labbook.ErrNoRow) {
		return err
	}
	_, err = tx.Add(r)
	return err
}

// Methods are the laboratory's own pasting methods in the book.
func (b *Book) Methods(ctx context.Context) (out []method.Method, err error) {
	err = b.Store.Read(ctx, func(v *labbook.View) error {
		kept, err := rules(v)
		out = kept.methods
		return err
	})
	return out, err
}

// rules are the laboratory's own rules in the book, in the order of entry.
func rules(v *labbook.View) (parsed, error) {
	var kept Rules
	for _, of := range []struct {
		kind labbook.Kind
		into *[]Text
	}{{labbook.Method, &kept.Methods}, {labbook.Protocol, &kept.Protocols}, {labbook.BakeMethod, &kept.BakeMethods}} {
		for r, err := range v.Rows(labbook.Filter{Kinds: []labbook.Kind{of.kind}}) {
			if err != nil {
				return parsed{}, err
			}
			var t Text
			if err := decode(r, &t); err != nil {
				return parsed{}, err
			}
			*of.into = append(*of.into, t)
		}
	}
	return kept.parse()
}

// WithMethods are methods given by hand, and those of the book beside them: what is
// given stands for the book's of the same id.
func WithMethods(given, kept []method.Method) []method.Method { return beside(given, kept, methodID) }

// WithProtocols is WithMethods of texture protocols.
func WithProtocols(given, kept []protocol.Protocol) []protocol.Protocol {
	return beside(given, kept, protocolID)
}

// WithBakeMethods is WithMethods of bake methods.
func WithBakeMethods(given, kept []baking.Method) []baking.Method {
	return beside(given, kept, bakeMethodID)
}

func beside[T any](given, kept []T, id func(T) string) []T {
	out := slices.Clone(given)
	for _, k := range kept {
		if !slices.ContainsFunc(given, func(g T) bool { return id(g) == id(k) }) {
			out = append(out, k)
		}
	}
	return out
}
