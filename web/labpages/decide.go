package labpages

import (
	"context"
	"net/http"

	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/study/book"
	"flourcast/web/desk"
	"flourcast/web/frame"
)

// decidePage has no page of its own: its forms stand on the page of a lot.
var decidePage = desk.Page{Path: "/lots", Routes: map[string]desk.Handler{
	"POST /lots/{lot}/disposition": addDisposition,
	"POST /lots/{lot}/purpose":     addPurpose,
}}

// decisions are what people did with a lot, and why something was made from it.
func decisions(d *desk.Desk, ctx context.Context, lot string) ([]report.Section, error) {
	var done []book.Said[book.Disposition]
	var made []book.Said[book.Purpose]
	err := d.Book(ctx, func(b *book.Book) (err error) {
		if done, err = b.DispositionsOf(ctx, lot); err == nil {
			made, err = b.PurposesOf(ctx, lot)
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	var out []report.Section
	if len(done) > 0 {
		out = append(out, reportbook.Dispositions("", done).Sections...)
	}
	if len(made) > 0 {
		out = append(out, reportbook.Purposes("", made).Sections...)
	}
	return out, nil
}

// decideForm asks for both.
func decideForm(d *desk.Desk, r *http.Request, lot string) (frame.Part, error) {
	return d.Fill(r, forms, "decide", map[string]any{"Address": lotAddress(lot), "As": book.Dispositions})
}

func addDisposition(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	return decided(d, w, r, func(ctx context.Context, b *book.Book) error {
		_, err := b.AddDisposition(ctx, d.Env, book.Disposition{Lot: r.PathValue("lot"), As: field(r, "as"), Who: field(r, "who"), Why: field(r, "why")}, field(r, "operator"))
		return err
	})
}

func addPurpose(d *desk.Desk, w http.ResponseWriter, r *http.Request) error {
	return decided(d, w, r, func(ctx context.Context, b *book.Book) error {
		_, err := b.AddPurpose(ctx, d.Env, book.Purpose{Lot: r.PathValue("lot"), Product: field(r, "product"), Why: field(r, "why")}, field(r, "operator"))
		return err
	})
}

// decided writes in the lab book and shows the lot again. Who closes the browser
// meanwhile finds it written.
func decided(d *desk.Desk, w http.ResponseWriter, r *http.Request, write func(ctx context.Context, b *book.Book) error) error {
	ctx := context.WithoutCancel(r.Context())
	if err := d.Book(ctx, func(b *book.Book) error { return write(ctx, b) }); err != nil {
		return err
	}
	http.Redirect(w, r, lotAddress(r.PathValue("lot")), http.StatusSeeOther)
	return nil
}
