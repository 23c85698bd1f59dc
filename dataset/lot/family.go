package lot

import "cmp"

// Families gives every lot that has relations the name of its family: lots that
// share a parent, that are parent and child, that are of one cultivar and one
// delivery, or for which the same family is stated, directly or through others. The
// name is the stated one, else the first parent that has none itself, else cultivar
// and delivery. A lot without relations is not in the map.
func (l *Lots) Families() map[string]string {
	root := map[string]string{}
	var find func(string) string
	find = func(x string) string {
		if p, ok := root[x]; ok && p != x {
			root[x] = find(p)
			return root[x]
		}
		root[x] = x
		return x
	}
	related := map[string]bool{}
	join := func(a, b string) {
		root[find(a)] = find(b)
		related[a], related[b] = true, true
	}
	const stated = "\x00family\x00" // apart from any lot's name
	for _, id := range l.order {
		lot := l.byID[id]
		for _, p := range lot.Parents {
			join(id, p.Lot)
		}
		if f := lot.Words["family"]; f != "" {
			join(id, stated+f)
		}
		if d := lot.consignment(); d != "" {
			join(id, stated+d)
		}
	}
	name, oldest, first := map[string]string{}, map[string]string{}, map[string]string{}
	for _, id := range l.order {
		lot := l.byID[id]
		if !related[id] {
			continue
		}
		r := find(id)
		name[r], first[r] = cmp.Or(name[r], lot.Words["family"]), cmp.Or(first[r], lot.consignment(), id)
		for _, p := range lot.Parents {
			if parent, listed := l.byID[p.Lot]; !listed || len(parent.Parents) == 0 {
				oldest[r] = cmp.Or(oldest[r], p.Lot)
			}
		}
	}
	out := map[string]string{}
	for _, id := range l.order {
		if related[id] {
			out[id] = cmp.Or(name[find(id)], oldest[find(id)], first[find(id)])
		}
	}
	return out
}

// consignment is the lot's cultivar and delivery; "" unless both are stated.
func (l *Lot) consignment() string {
	if l.Words["cultivar"] == "" || l.Words["delivery"] == "" {
		return ""
	}
	return l.Words["cultivar"] + ", delivery " + l.Words["delivery"]
}
