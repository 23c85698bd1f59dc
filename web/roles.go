package web

import "flourcast/web/people"

// Least is the role that each route needs where users sign in, by the pattern under which
// it is registered. A route that is not here is closed to all, and a test fails.
//
// A reader looks and prints. Whatever works on files that a browser sends, or writes
// something down about lots, is a technician's; models and limits are a scientist's. A
// page of which a reader could use nothing is not shown to one.
var Least = map[string]people.Role{
	"GET /{$}":                 people.Reader,
	"GET /control":             people.Reader,
	"GET /trail":               people.Reader,
	"GET /lots":                people.Reader,
	"GET /lots/{lot}":          people.Reader,
	"GET /lots/{lot}/curves":   people.Reader,
	"GET /lots/{lot}/picture":  people.Reader,
	"GET /lots/{lot}/features": people.Reader,
	"GET /relate":              people.Reader,
	"GET /relate/{feature}":    people.Reader,
	"GET /models":              people.Reader,
	"GET /models/{row}":        people.Reader,
	"GET /window":              people.Reader,
	"GET /follow":              people.Reader,
	"GET /specs":               people.Reader,
	"GET /suit":                people.Reader,
	"GET /suit/sheet.html":     people.Reader,
	"GET /suit/sheet.pdf":      people.Reader,
	"GET /trade/{name}":        people.Reader,
	"GET /jobs":                people.Reader,
	"GET /jobs/{id}":           people.Reader,
	"GET /jobs/{id}/state":     people.Reader,

	"GET /add":               people.Technician,
	"POST /add":              people.Technician,
	"GET /add/{id}":          people.Technician,
	"POST /add/{id}/confirm": people.Technician,
	"GET /forecast":          people.Technician,
	"POST /forecast":         people.Technician,
	"POST /forecast/book":    people.Technician,
	"GET /blend":             people.Technician,
	"POST /blend":            people.Technician,
	"POST /suit/words":       people.Technician,
	"POST /jobs/{id}/state":  people.Technician,

	"POST /lots/{lot}/disposition": people.Technician,
	"POST /lots/{lot}/purpose":     people.Technician,

	"POST /models/compare": people.Scientist,
	"POST /models/fit":     people.Scientist,
	"POST /specs":          people.Scientist,
}
