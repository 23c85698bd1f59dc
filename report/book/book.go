// Package book puts what became of a lab book into documents: files added, lots,
// the trail, what verify found, specifications, dispositions and purposes.
//
//  1. Each builder takes one result of package bookkeeping, or a list of package book.
//
// It computes nothing. Hashes are cut to their beginning where people read them;
// --json has them whole.
package book

import (
	"fmt"
	"strconv"

	"flourcast/report/document"
	"flourcast/report/phrase"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/entry"
)

func left(heading string) document.Column { return document.Column{Heading: heading} }

func row(id int64) document.Cell {
	return document.Number(float64(id), strconv.FormatInt(id, 10))
}

func words(texts ...string) []document.Cell {
	out := make([]document.Cell, len(texts))
	for i, t := range texts {
		out[i] = document.Words(t)
	}
	return out
}

// begin is the beginning of a hash.
func begin(hash string) string { return hash[:min(12, len(hash))] }

// Folder is the document of init, backup and restore.
func Folder(title string, r *bookkeeping.FolderResult) document.Document {
	d := document.Document{Title: title, Meta: []document.Pair{{Name: "book", Value: r.Book}}}
	if r.Folder != "" {
		d.Meta = append(d.Meta, document.Pair{Name: "written to", Value: r.Folder}, document.Pair{Name: "rows", Value: strconv.Itoa(r.Rows)}, document.Pair{Name: "hash of the last row", Value: r.Head})
	}
	return d
}

// Add is the document of add and correct.
func Add(r *entry.AddResult) document.Document {
	d := document.Document{Title: "Added to the lab book", Subtitle: r.Book}
	switch {
	case r.Schema == "flourcast.correct/1":
		d.Title = "Corrected in the lab book"
	case r.DryRun:
		d.Title = "What would be added to the lab book"
	}
	t := &document.Table{ID: "files", Caption: "Rows read: accepted, waiting for their lot or run, refused; known ones are in the book already",
		Columns: []document.Column{left("file"), left("kind"), phrase.Right("read"), phrase.Right("accepted"), phrase.Right("waiting"), phrase.Right("refused"), phrase.Right("known")}}
	for _, f := range r.Files {
		kind := f.Kind
		if kind == "" {
			kind = "not recognised"
		}
		t.Rows = append(t.Rows, append(words(f.File, kind), phrase.Count(f.Read), phrase.Count(f.Accepted), phrase.Count(f.Waiting), phrase.Count(f.Refused), phrase.Count(f.Known)))
	}
	t.Rows = append(t.Rows, append(words("all", ""), phrase.Count(r.Read), phrase.Count(r.Accepted), phrase.Count(r.Waiting), phrase.Count(r.Refused), phrase.Count(r.Known)))
	said := fmt.Sprintf("%s, %s and %s are new", phrase.Plural(r.Added.Lots, "lot"), phrase.Plural(r.Added.Runs, "run"), phrase.Plural(r.Added.Readings, "reading"))
	switch {
	case r.Corrected == 1:
		said += "; 1 row stands in for an earlier one"
	case r.Corrected > 1:
		said += fmt.Sprintf("; %d rows stand in for earlier ones", r.Corrected)
	}
	switch {
	case r.DryRun:
		said += ". Nothing was written: this was a dry run."
	case !r.Written:
		said += ". Nothing was written."
	default:
		said += ". All of it is on disk."
	}
	d.Sections = []document.Section{{Heading: "Files", Blocks: []document.Block{t, document.Paragraph(said)}}}
	if len(r.Findings) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Findings", Blocks: []document.Block{document.Findings(r.Findings)}})
	}
	return d
}

// Withdraw is the document of a row taken out of what counts.
func Withdraw(r *entry.WithdrawResult) document.Document {
	return document.Document{Title: "Withdrawn", Subtitle: fmt.Sprintf("row %d no longer counts; row %d says so: %s", r.Corrects, r.Row, r.Reason)}
}

// Lots is the document of the lots of a book.
func Lots(r *bookkeeping.LotsResult) document.Document {
	d := document.Document{Title: "Lots of the lab book", Subtitle: r.Book}
	table := func(id, caption string, lines []bookkeeping.LotLine) *document.Table {
		t := &document.Table{ID: id, Caption: caption, Columns: []document.Column{left("lot"), left("product"), phrase.Right("runs"), phrase.Right("readings"), phrase.Right("forecasts"), phrase.Right("dispositions")}}
		for _, l := range lines {
			t.Rows = append(t.Rows, append(words(l.Lot, l.Product), phrase.Count(l.Runs), phrase.Count(l.Readings), phrase.Count(l.Forecasts), phrase.Count(l.Dispositions)))
		}
		return t
	}
	d.Sections = []document.Section{{Heading: "Lots", Blocks: []document.Block{table("lots", fmt.Sprintf("%d lots and products, with what the book has of each lot", len(r.Lots)), r.Lots)}}}
	if len(r.Waiting) > 0 {
		d.Sections = append(d.Sections, document.Section{Heading: "Waiting", Blocks: []document.Block{table("waiting", "named by runs or readings, in no lots file yet", r.Waiting)}})
	}
	return d
}

// Log is the document of the trail.
func Log(r *bookkeeping.LogResult) document.Document {
	t := &document.Table{ID: "log", Caption: "Rows in the order of writing", Columns: []document.Column{phrase.Right("row"), left("time"), left("kind"), left("what"), left("operator"), left("from"), left("corrects"), left("reason")}}
	for _, l := range r.Lines {
		corrects := ""
		switch {
		case l.Withdrawn:
			corrects = fmt.Sprintf("withdraws %d", l.Corrects)
		case l.Corrects > 0:
			corrects = strconv.FormatInt(l.Corrects, 10)
		}
		t.Rows = append(t.Rows, append([]document.Cell{row(l.Row)}, words(l.Made.Format("2006-01-02 15:04"), l.Kind, l.What, l.Operator, begin(l.Source), corrects, l.Reason)...))
	}
	return document.Document{Title: "Trail of the lab book", Subtitle: r.Book, Sections: []document.Section{{Heading: "Rows", Blocks: []document.Block{t}}}}
}

// Verify is the document of a verification.
func Verify(r *bookkeeping.VerifyResult) document.Document {
	d := document.Document{Title: "Verification of the lab book", Subtitle: r.Book, Meta: []document.Pair{{Name: "rows", Value: strconv.Itoa(r.Rows)}, {Name: "originals taken in anew", Value: strconv.Itoa(r.Originals)},
		{Name: "figures worked out anew", Value: strconv.Itoa(r.Figures)}, {Name: "hash of the last row", Value: r.Head}}}
	answer := document.Callout{Kind: document.Answer, Title: "Everything holds", Text: "Every row, original and derived figure is as it was written. Note the hash of the last row elsewhere: it shows later whether rows at the end are missing."}
	if !r.OK {
		answer.Title, answer.Text = fmt.Sprintf("%d differences", len(r.Differences)), "The book is not as it was written. Keep it as it is, and restore the last backup into another folder."
	}
	s := document.Section{Heading: "Answer", Blocks: []document.Block{answer}}
	if r.Partly > 0 {
		s.Blocks = append(s.Blocks, document.Callout{Kind: document.Caution, Title: "Not worked out anew", Text: fmt.Sprintf("%d forecasts do not say how they were asked for: of them only the value was worked out anew, not interval, probability and decision.", r.Partly)})
	}
	if !r.OK {
		t := &document.Table{ID: "differences", Caption: "What differs", Columns: []document.Column{phrase.Right("row"), left("kind"), left("what"), left("found"), left("expected")}}
		for _, x := range r.Differences {
			t.Rows = append(t.Rows, append([]document.Cell{row(x.Row)}, words(x.Kind, x.What, short(x.Found), short(x.Want))...))
		}
		s.Blocks = append(s.Blocks, t)
	}
	d.Sections = []document.Section{s}
	return d
}

// short cuts a long text.
func short(s string) string {
	const most = 120
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + " …"
	}
	return s
}

// Specs is the document of specifications.
func Specs(dir string, all []book.Said[book.Spec]) document.Document {
	t := &document.Table{ID: "specs", Caption: "What customers ask of products", Columns: []document.Column{phrase.Right("row"), left("customer"), left("product"), left("limits"), left("revision"), left("valid from"), left("entered by")}}
	for _, s := range all {
		t.Rows = append(t.Rows, append([]document.Cell{row(s.ID)}, words(s.What.Customer, phrase.Product(s.What.Product), phrase.Limits(s.What.Response, s.What.Low, s.What.High), s.What.Revision, s.What.ValidFrom, s.Operator)...))
	}
	return document.Document{Title: "Specifications", Subtitle: dir, Sections: []document.Section{{Heading: "Specifications", Blocks: []document.Block{t}}}}
}

// Dispositions is the document of what people did with lots.
func Dispositions(dir string, all []book.Said[book.Disposition]) document.Document {
	t := &document.Table{ID: "dispositions", Caption: "What people did with lots", Columns: []document.Column{phrase.Right("row"), left("time"), left("lot"), left("as"), left("who"), left("why")}}
	for _, s := range all {
		t.Rows = append(t.Rows, append([]document.Cell{row(s.ID)}, words(s.Made.Format("2006-01-02 15:04"), s.What.Lot, s.What.As, s.What.Who, s.What.Why)...))
	}
	return document.Document{Title: "Dispositions", Subtitle: dir, Sections: []document.Section{{Heading: "Dispositions", Blocks: []document.Block{t}}}}
}

// Purposes is the document of why noodles or cakes were made.
func Purposes(dir string, all []book.Said[book.Purpose]) document.Document {
	t := &document.Table{ID: "purposes", Caption: "Why something was made from a lot", Columns: []document.Column{phrase.Right("row"), left("time"), left("lot"), left("product"), left("why"), left("entered by")}}
	for _, s := range all {
		t.Rows = append(t.Rows, append([]document.Cell{row(s.ID)}, words(s.Made.Format("2006-01-02 15:04"), s.What.Lot, s.What.Product, s.What.Why, s.Operator)...))
	}
	return document.Document{Title: "Purposes", Subtitle: dir, Sections: []document.Section{{Heading: "Purposes", Blocks: []document.Block{t}}}}
}
