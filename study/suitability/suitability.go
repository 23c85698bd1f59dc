// Package suitability gathers what a customer is told of a lot: a sheet for each lot,
// out of a lab book.
//
//  1. Make finds the models of the book for a product, the latest of each response, and
//     forecasts the lot by those that may be used; by one that is not fit for use only
//     where there is no other, and the sheet then says so.
//  2. The lot's curve is laid beside the reference lots that ran well and the
//     customer's present flour; its features are set against theirs, each with the
//     direction that is published for it.
//  3. What was not checked is listed, and what has to be said of the flour's treatment
//     where it goes.
//  4. With several products the lot is ranked for all of them instead (package enduse),
//     those with a window instead of a model, or beside one, among them. A window is
//     given, or made of the lots that ran well by the book's production notes.
//
// All other lots are coded: the same lot has the same code on every sheet of a book,
// and no name can be read off it. A Result holds names beside the codes and is for the
// house; what leaves it is what report makes of a Sheet. The package writes nothing
// into the book and releases nothing.
package suitability

import (
	"cmp"
	"context"
	"time"

	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/forecast"
	"flourcast/study/book"
	"flourcast/study/comparison"
	"flourcast/study/enduse"
	"flourcast/study/job"
)

// Request names the lots of a lab book and the products that they are for. Of several
// Products, or with All, each sheet ranks them. Customer is whose specification counts
// and who is named on the sheet; Limits, by product, count instead of it. Against is
// the customer's present flour. References are the lots to compare with; nil: those
// that ran well in production or, without notes of it, those that met the limits when
// they were measured. Models are rows or hashes of models to use instead of the latest.
type Request struct {
	Dir         string
	Lots        []string
	Products    []string
	All         bool
	Models      []string
	Customer    string
	Destination string
	Against     string
	References  []string
	Limits      map[string][]forecast.Spec
	Windows     []enduse.Window
	Production  bool // windows from the book's production notes as well
	Methods     []method.Method
	Level       float64 // of the interval; 0.90 when 0
}

// Result is what `suit` prints: the sheets, and which lot has which code. It is for the
// house.
type Result struct {
	Schema      string       `json:"schema"`
	Made        time.Time    `json:"made"`
	Customer    string       `json:"customer"`
	Destination string       `json:"destination"`
	Sheets      []Sheet      `json:"sheets"`
	Codes       []Coded      `json:"codes"`
	Findings    finding.List `json:"findings"`
}

// Coded is a lot and its code.
type Coded struct {
	Lot  string `json:"lot"`
	Code string `json:"code"`
}

// Sheet is all that is said of one lot. Fits is there for several products, Expected,
// Windows and Features for one; Models are those of Fits. NotFit says that a forecast of it comes from a model that is
// not fit for use. Method is that of the curves.
type Sheet struct {
	Lot        string               `json:"lot"`
	Present    string               `json:"present"`
	Products   []string             `json:"products"`
	Method     string               `json:"method"`
	Notice     string               `json:"notice,omitempty"`
	NotFit     bool                 `json:"not_fit"`
	Curves     []comparison.Curve   `json:"curves"`
	References []string             `json:"reference_codes"`
	ChosenBy   string               `json:"references_by"` // production | limits | request; "" for none
	Expected   []Expected           `json:"expected"`
	Windows    []enduse.Fit         `json:"windows,omitempty"` // what the lot's figures say to the product's windows
	Features   []comparison.Feature `json:"features"`
	Fits       []enduse.Fit         `json:"fits"`
	Models     []Model              `json:"models"`
	Treatment  string               `json:"treatment"`  // as kinds are named; "" when not stated
	Permission string               `json:"permission"` // what is known of the treatment at the destination
	Unchecked  []Unchecked          `json:"not_checked"`
}

// Expected is what one model expects of the lot. Present is what was measured on the
// present flour, or else forecast for it (PresentForecast). Trouble says why there is
// no value, or why it should not be relied on: see the constants.
type Expected struct {
	Response        string         `json:"response"`
	Value           *float64       `json:"value"`
	Low             *float64       `json:"low"`
	High            *float64       `json:"high"`
	Level           float64        `json:"level"`
	Limits          *forecast.Spec `json:"limits"`
	Probability     *float64       `json:"probability"`
	Decision        string         `json:"decision"`
	Measured        *float64       `json:"measured"` // on the lot itself
	Present         *float64       `json:"present"`
	PresentForecast bool           `json:"present_forecast"`
	Trouble         []string       `json:"trouble"`
	Model           Model          `json:"model"`
}

// Why a forecast is missing, or should not be relied on.
const (
	TroubleOutside    = "outside"    // of what the model was calibrated on
	TroubleEdge       = "edge"       // of it
	TroubleRun        = "run"        // something is wrong with the lot's runs or figures
	TroubleYear       = "crop-year"  // the model has seen no lot of this harvest
	TroubleNoValue    = "no-value"   // there is no forecast
	TroubleNotFit     = "not-fit"    // for use: the model
	TroubleKnown      = "known"      // the model was made from this lot too
	TroubleOverridden = "overridden" // a direction that the lots contradicted, by a person
)

// Model is what is said of a model.
type Model struct {
	Row      int64     `json:"row"`
	Product  string    `json:"product"`
	Response string    `json:"response"`
	Made     time.Time `json:"made"`
	Standing string    `json:"standing"`
	Grade    string    `json:"grade"`
	Lots     int       `json:"lots"`
	Years    int       `json:"crop_years"`
}

// Unchecked is one thing that was not checked; Columns are what it is about.
type Unchecked struct {
	Code    string   `json:"code"`
	Columns []string `json:"columns,omitempty"`
}

// maker is a request being answered.
type maker struct {
	Request
	env  job.Env
	book *book.Book
	lots *comparison.Lots
	code coder
	res  *Result
}

// Make makes the sheets. Errors: *job.RequestError for lots, products and models that
// the book does not have, *job.NothingUsableError for products without any model or
// window.
func Make(ctx context.Context, env job.Env, q Request) (*Result, error) {
	q.Level = cmp.Or(q.Level, 0.90)
	if len(q.Lots) == 0 {
		return nil, &job.RequestError{Found: "no lot", Want: "one or more lots of the lab book"}
	}
	if len(q.Products) == 0 && !q.All {
		return nil, &job.RequestError{Field: "for", Found: "no product", Want: "what the flour is for, or all products"}
	}
	b, err := book.Open(ctx, q.Dir)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	for _, list := range []struct {
		field string
		lots  []string
	}{{"", q.Lots}, {"reference", q.References}, {"against", given(q.Against)}} {
		for _, lot := range list.lots {
			known, err := b.Knows(ctx, lot)
			if err != nil {
				return nil, err
			}
			if !known {
				return nil, &job.RequestError{Field: list.field, Found: "lot " + lot, Want: "a lot of the book", Do: "look for it among the lots of the book, or add its files first"}
			}
		}
	}
	m := &maker{Request: q, env: env, book: b, res: &Result{Schema: "flourcast.suit/1", Made: env.Now(), Customer: q.Customer, Destination: q.Destination, Sheets: []Sheet{}, Codes: []Coded{}, Findings: finding.List{}}}
	if m.code, err = newCoder(ctx, b); err != nil {
		return nil, err
	}
	if m.lots, err = comparison.Open(ctx, env, b, q.Methods, m.wanted()); err != nil {
		return nil, err
	}
	if m.Production {
		if err := m.production(); err != nil {
			return nil, err
		}
	}
	models, err := m.models(ctx)
	if err != nil {
		return nil, err
	}
	if len(m.Products) > 1 || m.All {
		err = m.several(ctx, models)
	} else {
		err = m.one(ctx, models)
	}
	return m.res, err
}

func given(lot string) []string {
	if lot == "" {
		return nil
	}
	return []string{lot}
}

// Short reports whether a sheet says that its forecast must not be relied on.
func (r *Result) Short() bool {
	for _, s := range r.Sheets {
		if s.NotFit {
			return true
		}
		for _, e := range s.Expected {
			for _, t := range e.Trouble {
				if t == TroubleOutside || t == TroubleRun || t == TroubleNoValue {
					return true
				}
			}
		}
	}
	return false
}
