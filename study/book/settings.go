package book

import (
	"context"
	"os"

	"flourcast/dataset/intake"
	"flourcast/dataset/labbook"
	"flourcast/dataset/record"
	"flourcast/dataset/sheet"
)

// Text is a file that says how others are read: an import map, a method, a protocol.
type Text struct {
	Name string `json:"name"`
	Text string `json:"text"`
}

// ReadText reads a map or method file.
func ReadText(path string) (Text, error) {
	data, err := os.ReadFile(path)
	return Text{path, string(data)}, err
}

// Settings are how a file was read, kept with it so that it can be taken in anew: the
// payload of an original.
type Settings struct {
	File string      `json:"file"`
	Kind intake.Kind `json:"kind"`
	Map  *Text       `json:"map,omitempty"`
	Rules
	Method string `json:"method,omitempty"`
	Lot    string `json:"lot,omitempty"`
}

// Take takes a file in as the settings say. The error is of the map or of a rule, or that
// of intake.Read.
func (s Settings) Take(ctx context.Context, cores int, data []byte) (intake.Taken, error) {
	f := intake.File{Name: s.File, Data: data, Method: s.Method, Lot: s.Lot, Cores: cores}
	if s.Map != nil {
		m, err := sheet.ParseMap(s.Map.Name, []byte(s.Map.Text))
		if err != nil {
			return intake.Taken{}, err
		}
		f.Map = m
	}
	own, err := s.parse()
	if err != nil {
		return intake.Taken{}, err
	}
	f.Methods, f.Protocols, f.BakeMethods = own.methods, own.protocols, own.bakeMethods
	return intake.Read(ctx, f)
}

// ReadSettings reads the payload of an original.
func ReadSettings(r labbook.Row) (s Settings, err error) {
	err = decode(r, &s)
	return s, err
}

// KindOf is the book's kind of what a file of some kind holds.
func KindOf(k intake.Kind) labbook.Kind {
	switch k {
	case intake.Lots:
		return labbook.Lot
	case intake.Runs:
		return labbook.Test
	case intake.Curves, intake.Pasting:
		return labbook.Run
	case intake.Texture, intake.Bakes:
		return labbook.Reading
	case intake.Notes:
		return labbook.Note
	case intake.Controls:
		return labbook.Control
	case intake.Events:
		return labbook.Event
	}
	panic("book: KindOf: a kind of file expected, found " + string(k))
}

// IsControl reports whether the row of a runs file is of a control flour.
func IsControl(u intake.Unit) bool {
	for k, c := range u.Columns {
		if c == "kind" {
			return u.Cells[0][k] == record.Control
		}
	}
	return false
}
