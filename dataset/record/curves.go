package record

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"flourcast/dataset/sheet"
	"flourcast/dataset/trait"
	"flourcast/finding"
	"flourcast/work"
)

// Run is one test as a file tells it: the points of a pasting or force curve in
// the order of the file, or feature values by trait id. Replicate is "1" where the
// file has none. Product, Protocol, Batch and TestedAt are of force curves, whose
// Figures are those of the first row (thickness, cook time …).
type Run struct {
	Lot, Method, Run, Sample, Replicate, Instrument string
	Product, Protocol, Batch, TestedAt              string

	At      finding.Place // its first row
	Rows    int           // rows that it has in the file
	Points  *Points       // nil for feature values
	Figures Figures

	Findings finding.List // a refused one refuses the run
}

// Points are the points of a curve; columns that its kind or its file does not
// have are nil. Row is the file row of each point.
type Points struct {
	TimeS, TemperatureC, ViscosityMPas []float64
	SpeedRPM                           []float64 // nil, too, where a point lacks it
	ForceN, DistanceMM                 []float64
	Row                                []int
}

// Identity is what no two runs share, in all files together.
type Identity [8]string

// Identity is the run's.
func (r *Run) Identity() Identity {
	return Identity{r.Run, r.Lot, r.Sample, r.Method, r.Replicate, r.Protocol, r.Batch, r.TestedAt}
}

// Options are the settings of a reading. Method and Lot hold for runs that do not tell theirs (a lot column
// tells, even where a cell is empty). Cores 0 means all.
type Options struct {
	Map         *sheet.Map
	Method, Lot string
	Cores       int
	Progress    work.Progress
}

// EachCurves reads curves files, in long form or one run a file, on several cores,
// and hands the runs of file i to take as soon as it is read, so that nobody has to
// keep all points of all files. take is called once for every file, for one without
// runs too, and may be called by several goroutines at once; what it is given is its
// own.
//
// A row is one point of a run. Counts hold only the rows that belong to no run,
// all refused; the other rows share the fate of their run. The error is of a file
// that is not there, of take, or of ctx.
func EachCurves(ctx context.Context, paths []string, opt Options, take func(i int, runs []Run) error) (Counts, finding.List, error) {
	return eachFile(ctx, paths, "reading curves", opt, readPasting, take)
}

// ReadCurves reads curves files as EachCurves does, and keeps all runs, in the
// order of the files.
func ReadCurves(ctx context.Context, paths []string, opt Options) ([]Run, Counts, finding.List, error) {
	return readFiles(ctx, paths, "reading curves", opt, readPasting)
}

func readPasting(s *sheet.Sheet, opt Options) contents { return readCurves(s, opt, pastingCurve) }

// ReadValues reads pasting files: feature values, one run a row. Counts and
// error are those of EachCurves.
func ReadValues(ctx context.Context, paths []string, opt Options) ([]Run, Counts, finding.List, error) {
	return readFiles(ctx, paths, "reading pasting values", opt, readValues)
}

// contents are the runs of one file and the rows that belong to none.
type contents struct {
	runs     []Run
	refused  int
	findings finding.List
}

// readFiles reads files in parallel and puts their runs together in their order.
func readFiles(ctx context.Context, paths []string, label string, opt Options, read func(*sheet.Sheet, Options) contents) (runs []Run, c Counts, fl finding.List, err error) {
	files := make([][]Run, len(paths))
	c, fl, err = eachFile(ctx, paths, label, opt, read, func(i int, runs []Run) error {
		files[i] = runs
		return nil
	})
	if err != nil {
		return nil, Counts{}, nil, err
	}
	return slices.Concat(files...), c, fl, nil
}

// eachFile reads files in parallel, hands out the runs of each, and puts together
// the rest in the order of the files.
func eachFile(ctx context.Context, paths []string, label string, opt Options, read func(*sheet.Sheet, Options) contents, take func(i int, runs []Run) error) (c Counts, fl finding.List, err error) {
	refused, findings := make([]int, len(paths)), make([]finding.List, len(paths))
	progress := opt.Progress
	if progress == nil {
		progress = work.Quiet
	}
	progress.Start(label, len(paths))
	defer progress.Done()
	err = work.Each(ctx, len(paths), opt.Cores, func(i int) error {
		defer progress.Step(1)
		s, ok, err := Open(paths[i], opt.Map, &findings[i])
		if err != nil {
			return err
		}
		var file contents
		if ok {
			file = read(s, opt)
		}
		refused[i], findings[i] = file.refused, append(findings[i], file.findings...)
		return take(i, file.runs)
	})
	if err != nil {
		return Counts{}, nil, err
	}
	for _, n := range refused {
		c = c.Plus(Counts{Read: n, Refused: n})
	}
	return c, slices.Concat(findings...), nil
}

// labels are the columns that tell which run a row belongs to.
type labels struct{ run, lot, sample, method, replicate, instrument int }

func findLabels(s *sheet.Sheet) labels {
	return labels{s.Column("run"), s.Column("lot"), s.Column("sample"), s.Column("method"), s.Column("replicate"), s.Column("instrument")}
}

// same reports whether two rows have the same labels.
func (l labels) same(a, b []string) bool {
	for _, k := range [...]int{l.run, l.lot, l.sample, l.method, l.replicate, l.instrument} {
		if k >= 0 && a[k] != b[k] {
			return false
		}
	}
	return true
}

// identify reads which run a row belongs to. A row with an empty lot cell that
// names no run either is refused.
func (l labels) identify(s *sheet.Sheet, row sheet.Row, opt Options) (*Run, *finding.Finding) {
	text := func(k int) string { v, _ := s.Text(row, k); return v }
	r := &Run{Run: text(l.run), Lot: text(l.lot), Sample: text(l.sample), Method: cmp.Or(text(l.method), opt.Method), Replicate: cmp.Or(text(l.replicate), "1"), Instrument: text(l.instrument)}
	if l.lot < 0 {
		r.Lot = opt.Lot
	} else if r.Lot == "" && r.Run == "" {
		return r, noLot(s.Place(row, l.lot))
	}
	return r, nil
}

// readCurves groups the rows of a sheet into runs. Rows of one run may stand
// apart as long as time goes on; where it starts again behind another run, the
// rows are a second run under the first one's name, and refused.
func readCurves(s *sheet.Sheet, opt Options, kind curveKind) contents {
	var out contents
	l := findLabels(s)
	cols := [3]int{s.Column("time_s"), s.Column(kind.main), s.Column(kind.other)}
	for _, id := range kind.missing(cols) {
		out.findings.Add(finding.Finding{Code: "column-missing", Severity: finding.Refused, At: finding.Place{File: s.File}, Found: "no usable column " + id, Want: trait.Label(id),
			Do: "name the column and its unit in the header or in an import map"})
	}
	usable := len(out.findings) == 0
	at := map[Identity]int{}
	last := -1
	var before []string // cells of the row that the run of index last was told from
	speed := -1
	if kind.speed {
		speed = s.Column("speed_rpm")
	}
	for row, bad := range s.RowsInPlace() {
		var r *Run // nil where the row goes on with the run of the row before
		var point [3]float64
		again := bad == nil && last >= 0 && kind.label == nil && l.same(row.Cells, before) // as most rows are
		if bad == nil && usable {
			if !again {
				r, bad = l.identify(s, row, opt)
			}
			if bad == nil {
				point, bad = readPoint(s, row, cols)
			}
			if kind.label != nil {
				kind.label(r, s, row)
			}
		}
		if bad != nil {
			out.findings.Add(*bad)
		}
		if bad != nil || !usable {
			out.refused++
			continue
		}
		k, known := last, true
		if !again {
			k, known = at[r.Identity()]
		}
		if known && k != last && (cols[0] < 0 || point[0] <= out.runs[k].Points.end()) {
			first := out.runs[k].At
			r.At, known = s.Place(row, -1), false
			r.Findings.Add(Twice(r, first))
		}
		if !known {
			k = len(out.runs)
			r.own()
			at[r.Identity()] = k
			r.At, r.Points = s.Place(row, -1), newPoints(cols, kind, out.runs)
			if kind.figures != nil {
				r.Figures = figures(s, row, kind.figures(s), &r.Findings)
			}
			out.runs = append(out.runs, *r)
		}
		out.runs[k].Rows++
		kind.add(out.runs[k].Points, row.Number, point, cols)
		if speed >= 0 {
			out.runs[k].Points.addSpeed(s, row, speed)
		}
		last = k
		if !again {
			before = append(before[:0], row.Cells...)
		}
	}
	for i := range out.runs {
		out.runs[i].checkSpeeds()
	}
	if usable && len(out.runs) == 0 && out.refused == 0 {
		out.findings.Add(finding.Finding{Code: "rows-missing", Severity: finding.Refused, At: finding.Place{File: s.File}, Found: "a header and no row below it", Want: "the points of a curve", Do: "export the run again"})
	}
	return out
}

// own copies the run's labels out of the file's text, which would otherwise be
// kept in memory as long as the run.
func (r *Run) own() {
	for _, text := range []*string{&r.Lot, &r.Method, &r.Run, &r.Sample, &r.Replicate, &r.Instrument, &r.Product, &r.Protocol, &r.Batch, &r.TestedAt} {
		*text = strings.Clone(*text)
	}
}

// addSpeed adds the speed of a point, in column k, if the row tells one.
func (p *Points) addSpeed(s *sheet.Sheet, row sheet.Row, k int) {
	if v, ok, bad := s.Value(row, k); ok && bad == nil {
		p.SpeedRPM = append(p.SpeedRPM, v)
	}
}

// checkSpeeds takes speeds that not every point has off the run: a point is not
// lost for want of its speed.
func (r *Run) checkSpeeds() {
	p := r.Points
	if n := len(p.SpeedRPM); n > 0 && n < len(p.Row) {
		at := r.At
		at.Column = "speed_rpm"
		r.Findings.Add(finding.Finding{Code: "speed-incomplete", Severity: finding.Note, At: at, Found: fmt.Sprintf("%d of %d points have a speed: the speed is not checked", n, len(p.Row))})
		p.SpeedRPM = nil
	}
}

// spare is the memory of points that were freed, for the next run: for short files it
// is a fifth of all that is asked for.
var spare = sync.Pool{New: func() any { return new(Points) }}

// Free gives the memory of the points back, for another run to be read into. Nobody may
// use them, or parts of them, any more.
func (p *Points) Free() { spare.Put(p) }

// newPoints has room for as many points as the run before had, or for a usual
// run.
func newPoints(cols [3]int, kind curveKind, before []Run) *Points {
	room := 1024
	if n := len(before); n > 0 {
		room = before[n-1].Rows + 8
	}
	old := spare.Get().(*Points)
	p := &Points{Row: slices.Grow(old.Row[:0], room)}
	from := func(series []float64) []float64 { return slices.Grow(series[:0], room) }
	main, other := kind.series(p)
	oldMain, oldOther := kind.series(old)
	*main = from(*oldMain)
	if cols[0] >= 0 {
		p.TimeS = from(old.TimeS)
	}
	if cols[2] >= 0 {
		*other = from(*oldOther)
	}
	return p
}

func (p *Points) end() float64 { return p.TimeS[len(p.TimeS)-1] }

// curveKind is what curves of one kind have: the column that is measured over
// time, another that may be there, and what else a row tells of its run.
type curveKind struct {
	main, other string
	timeless    bool // the other column may stand in for the time
	speed       bool // the speed of the paddle may be there
	series      func(p *Points) (main, other *[]float64)
	label       func(r *Run, s *sheet.Sheet, row sheet.Row)
	figures     func(s *sheet.Sheet) []int
}

var pastingCurve = curveKind{main: "viscosity_mPas", other: "temperature_C", speed: true,
	series: func(p *Points) (main, other *[]float64) { return &p.ViscosityMPas, &p.TemperatureC }}

func (k curveKind) missing(cols [3]int) (ids []string) {
	if cols[0] < 0 && !(k.timeless && cols[2] >= 0) {
		ids = append(ids, "time_s")
	}
	if cols[1] < 0 {
		ids = append(ids, k.main)
	}
	return ids
}

func (k curveKind) add(p *Points, row int, point [3]float64, cols [3]int) {
	main, other := k.series(p)
	p.Row, *main = append(p.Row, row), append(*main, point[1])
	if cols[0] >= 0 {
		p.TimeS = append(p.TimeS, point[0])
	}
	if cols[2] >= 0 {
		*other = append(*other, point[2])
	}
}

// readPoint reads one figure from each column that is there.
func readPoint(s *sheet.Sheet, row sheet.Row, cols [3]int) (point [3]float64, bad *finding.Finding) {
	for i, k := range cols {
		if k < 0 {
			continue
		}
		v, ok, bad := s.Value(row, k)
		if bad == nil && !ok {
			bad = &finding.Finding{Code: "figure-missing", At: s.Place(row, k), Found: "an empty cell", Want: "a figure in every row of a curve", Do: "the row is left out of the curve; fill it in"}
		}
		if bad != nil {
			bad.Severity = finding.Refused
			return point, bad
		}
		point[i] = v
	}
	return point, nil
}

// Twice is the finding for a run under the name of an earlier one.
func Twice(r *Run, first finding.Place) finding.Finding {
	name := fmt.Sprintf("lot %s, replicate %s", r.Lot, r.Replicate)
	if r.Run != "" {
		name = "run " + r.Run
	}
	return finding.Finding{Code: "replicate-twice", Severity: finding.Refused, At: r.At, Found: fmt.Sprintf("%s by %s again, first at %s", name, cmp.Or(r.Method, "no method"), first),
		Want: "each replicate once", Do: "number the replicates, or take one of the two out"}
}

func readValues(s *sheet.Sheet, opt Options) contents {
	var out contents
	l := findLabels(s)
	var features []int
	for k := range s.Columns {
		if h, ok := s.Header(k); ok && h.Trait.Role == trait.RoleFeature {
			features = append(features, k)
		}
	}
	for row, bad := range s.Rows() {
		var r *Run
		if bad == nil {
			r, bad = l.identify(s, row, opt)
		}
		if bad != nil {
			out.findings.Add(*bad)
			out.refused++
			continue
		}
		r.At, r.Rows = s.Place(row, -1), 1
		r.Figures = figures(s, row, features, &r.Findings)
		r.own()
		out.runs = append(out.runs, *r)
	}
	return out
}
