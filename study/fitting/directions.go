package fitting

import (
	"context"

	"flourcast/dataset/assembly"
	"flourcast/eval/direction"
	"flourcast/study/job"
)

// Directions puts the rules to a table's lots as Fit would, without a model. It
// reads the request's table, selection, rules and methods. Errors are those of Fit.
func Directions(ctx context.Context, env job.Env, q Request) ([]direction.Answer, error) {
	m, assembly, _, err := assembly.Make(q.Table, assembly.Selection{Response: q.Response, Features: q.Features, Product: q.Product, Method: q.Method, Where: q.Where, Treatment: q.Treatment, Group: q.Group, Methods: q.Methods})
	if err != nil {
		return nil, Refusal(err, q.TableFindings)
	}
	f := &fit{ctx: ctx, env: env, q: q, m: m, assembly: assembly, rows: q.rows(m, assembly)}
	return f.checkDirections()
}
