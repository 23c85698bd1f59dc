// Package bite reads texture readings off one force curve: two bites into a
// piece, one compression, or one cut.
//
//  1. The record is checked: finite figures, times that rise, enough points, no
//     force that stands still at the end of the instrument's range.
//  2. Quiet stretches give the baseline; offset and drift are taken off.
//  3. Bites are the stretches of force that reach a tenth of the greatest force.
//     Each has its contact, its turning point (of the travel where there is one,
//     else of the force) and its end.
//  4. Readings are taken: forces, ratios of areas and of lengths by the protocol's
//     conventions, adhesion between the bites, work where the travel is known.
//
// A reading that the curve does not show is absent, and a finding says why: no
// second bite, a record that ends in a bite, a strand that slipped. A curve
// without a bite, or with a saturated force, is refused. The package never sees
// lots or files, and works out no product of readings (package texture does).
package bite

import (
	"fmt"

	"flourcast/dataset/protocol"
	"flourcast/dataset/reading"
	"flourcast/finding"
)

// Ids of the readings.
const (
	Hardness           = "hardness_N"
	Firmness           = "firmness_N"
	Fracturability     = "fracturability_N"
	Springiness        = "springiness"
	SpringinessTravel  = "springiness_distance"
	Cohesiveness       = "cohesiveness"
	CohesivenessDown   = "cohesiveness_down_stroke"
	CohesivenessNet    = "cohesiveness_net"
	Resilience         = "resilience"
	Adhesiveness       = "adhesiveness_Ns"
	AdhesiveForce      = "adhesive_force_N"
	FirmnessWork       = "firmness_work_Nmm"
	Stress             = "hardness_kPa"
	megapascalToKilo   = 1000.0 // N/mm² in kPa
	timeID, forceID    = "time_s", "force_N"
	distanceID         = "distance_mm"
	secondsAreDistance = "the record has no times and the protocol no speed"
)

// Curve is one force record, compression above zero: force in N, and time in s,
// the travel of the probe in mm, or both; what is not there is nil. Without times
// they follow from the travel and the protocol's speed. Travel may count down as
// well as up. Rows are the file rows of the points, or nil.
type Curve struct {
	TimeS, ForceN, DistanceMM []float64
	Rows                      []int
	At                        finding.Place
}

// Part is a stretch of the record with its name: "first stroke", "first
// withdrawal", "adhesion", "second stroke", "second withdrawal".
type Part struct {
	Name       string
	FromS, ToS float64
}

// Bites is what one record shows: readings, and where they were taken. The zero
// value has none and is not OK.
type Bites struct {
	reading.Reading
	test  protocol.Test
	count int
	parts []Part
	t, f  []float64
	ran   Ran
}

// Ran is what the record tells of how the test was run; nil where it does not: the
// travel of the first bite, mm, the speed of the way down, mm/s, and how long the probe
// stood at the top of its way between two bites, s. All need the travel.
type Ran struct{ TravelMM, SpeedMMPerS, PauseS *float64 }

// Test is the kind of test that the record was read as.
func (b Bites) Test() protocol.Test { return b.test }

// Count is how many bites the record has.
func (b Bites) Count() int { return b.count }

// Parts are the stretches that were found, in order of time.
func (b Bites) Parts() []Part { return b.parts }

// Ran tells how the test was run.
func (b Bites) Ran() Ran { return b.ran }

// Trace is the record as it was read: times, s, and forces, N, less the baseline.
func (b Bites) Trace() (timeS, forceN []float64) { return b.t, b.f }

// Extract reads one curve by a protocol, of which the kind of test, trigger,
// conventions, speed, contact area and brittleness count. Without a stated kind, two bites make it
// a two-bite test and one a compression, with a doubt. Findings stand at the
// curve's place. A refused curve gives Bites that are not OK.
//
// Definitions: Bourne 1978, Food Technol 32(7):62, and Friedman, Whitney &
// Szczesniak 1963, J Food Sci 28:390 (both from memory); each reading's own is in
// docs/texture.md.
func Extract(c Curve, p protocol.Protocol) (Bites, finding.List) {
	r := newRecord(c, p)
	if r.refused() {
		return Bites{}, r.findings
	}
	r.level()
	r.leaveOutSpikes()
	bites := r.bites()
	if r.refused() {
		return Bites{}, r.findings
	}
	test := p.Test
	if test == protocol.Unstated {
		if test = protocol.TwoBite; len(bites) == 1 {
			test = protocol.Compression
			r.doubt("one-bite", forceID, bites[0].peak, "one bite, read as a compression", "two bites, or a protocol that says one",
				"if the test has two bites, the second failed: repeat it; else name a protocol with its test")
		}
	}
	m := &measure{record: r, test: test, values: map[string]float64{}}
	m.take(bites)
	return Bites{Reading: reading.New(m.values), test: test, count: len(bites), parts: m.parts, t: r.t, f: r.f, ran: r.ran(bites)}, r.findings
}

func (r *record) add(code string, s finding.Severity, column string, point int, found, want, do string) {
	at := r.at
	at.Column = column
	if point >= 0 && point < len(r.rows) {
		at.Row = r.rows[point]
	}
	r.findings.Add(finding.Finding{Code: code, Severity: s, At: at, Found: found, Want: want, Do: do})
}

func (r *record) refuse(code, column string, point int, found, want, do string) {
	r.add(code, finding.Refused, column, point, found, want, do)
}

func (r *record) doubt(code, column string, point int, found, want, do string) {
	r.add(code, finding.Doubt, column, point, found, want, do)
}

func (r *record) note(code, column string, point int, found, do string) {
	r.add(code, finding.Note, column, point, found, "", do)
}

func (r *record) refused() bool { return r.findings.Count(finding.Refused) > 0 }

func newtons(v float64) string { return fmt.Sprintf("%.4g N", v) }
