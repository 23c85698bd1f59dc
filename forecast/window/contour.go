package window

// contour are the lines on which the grid's probability is level: in each cell with
// four known corners the line enters and leaves by proportion along its sides
// (marching squares), and pieces are joined end to end.
func (m *Map) contour(level float64) [][]Spot {
	type side struct{ i, j, along int } // from grid point i, j along X (0) or Y (1)
	place := func(s side) Spot {
		i, j := s.i, s.j
		a := *m.P[i][j]
		if s.along == 0 {
			share := (level - a) / (*m.P[i+1][j] - a)
			return Spot{m.X[i] + share*(m.X[i+1]-m.X[i]), m.Y[j]}
		}
		share := (level - a) / (*m.P[i][j+1] - a)
		return Spot{m.X[i], m.Y[j] + share*(m.Y[j+1]-m.Y[j])}
	}
	next := map[side][]side{}
	var order []side
	join := func(a, b side) {
		for _, s := range []side{a, b} {
			if next[s] == nil {
				order = append(order, s)
			}
		}
		next[a], next[b] = append(next[a], b), append(next[b], a)
	}
	for i := range len(m.X) - 1 {
		for j := range len(m.Y) - 1 {
			corners := [4]*float64{m.P[i][j], m.P[i+1][j], m.P[i+1][j+1], m.P[i][j+1]}
			sides := [4]side{{i, j, 0}, {i + 1, j, 1}, {i, j + 1, 0}, {i, j, 1}} // between a corner and the next
			var crossed []side
			known := true
			for _, c := range corners {
				known = known && c != nil
			}
			for k := 0; known && k < 4; k++ {
				if (*corners[k] >= level) != (*corners[(k+1)%4] >= level) {
					crossed = append(crossed, sides[k])
				}
			}
			for k := 0; k+1 < len(crossed); k += 2 {
				join(crossed[k], crossed[k+1])
			}
		}
	}
	var lines [][]Spot
	done := map[side]bool{}
	walk := func(from side) {
		line := []Spot{place(from)}
		done[from] = true
		for at, going := from, true; going; {
			going = false
			for _, n := range next[at] {
				if !done[n] {
					line, at, going = append(line, place(n)), n, true
					done[n] = true
					break
				}
			}
			if !going && len(line) > 2 { // a ring is closed
				for _, n := range next[at] {
					if n == from {
						line = append(line, place(from))
					}
				}
			}
		}
		if len(line) > 1 {
			lines = append(lines, line)
		}
	}
	for _, s := range order { // open lines from their ends first
		if len(next[s]) == 1 && !done[s] {
			walk(s)
		}
	}
	for _, s := range order {
		if !done[s] {
			walk(s)
		}
	}
	return lines
}
