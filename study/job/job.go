// Package job holds what every job of the program takes and may answer: the
// environment (clock, version, seed, cores, progress) and the two refusals.
//
//  1. A face makes an Env and hands it to a function of package study.
//  2. A job that cannot be answered as asked returns a *RequestError; one whose
//     input has nothing usable returns a *NothingUsableError, and writes nothing.
//  3. WriteWhole and WriteWholeBy put a file in place whole or not at all.
//
// It knows no job.
package job

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"flourcast/finding"
	"flourcast/work"
)

// Env is everything that a job takes from outside its request.
type Env struct {
	Clock    func() time.Time
	Version  string // of the program
	Seed     uint64
	Cores    int // 0: all
	Progress work.Progress
}

// Now is the time of the job, in UTC and whole seconds.
func (e Env) Now() time.Time { return e.Clock().UTC().Truncate(time.Second) }

// Level is the level of an interval: 0.90 where none is given. The error is a
// *RequestError for one that is not between 0 and 1.
func Level(given float64) (float64, error) {
	if given == 0 {
		return 0.90, nil
	}
	if !(given > 0 && given < 1) {
		return 0, &RequestError{Found: fmt.Sprintf("level %v", given), Want: "a level between 0 and 1, such as 0.90"}
	}
	return given, nil
}

// Report is where the job tells its progress: Env's, or a quiet one.
func (e Env) Report() work.Progress {
	if e.Progress == nil {
		return work.Quiet
	}
	return e.Progress
}

// RequestError says that a request cannot be answered as it stands: an unknown
// kind of model, a response that the table lacks. Field is the field of the request
// that is to be mended, in the words of its flag without hyphens ("limits"); "" where it
// is no single one. A face says it in its own way, a flag or the label of a form;
// Found, Want and Do name no flag. Where Found is the text of a cause that says itself
// what was found and expected, the error is that text and what to do.
type RequestError struct{ Field, Found, Want, Do string }

func (e *RequestError) Error() string {
	text := "found " + e.Found + ", expected " + e.Want
	if strings.Contains(e.Found, "found ") && strings.Contains(e.Found, ", expected ") {
		text = e.Found
	}
	if e.Do != "" {
		text += "; " + e.Do
	}
	return text
}

// NothingUsableError says that no row of the input can be used, and why.
type NothingUsableError struct {
	What     string
	Findings finding.List
}

func (e *NothingUsableError) Error() string {
	text := e.What
	const shown = 5
	why := append(e.Findings.With(finding.Refused), e.Findings.With(finding.Doubt)...)
	for i, f := range why {
		if i == shown {
			text += fmt.Sprintf("\n  … and %d more", len(why)-shown)
			break
		}
		text += "\n  " + f.String()
	}
	return text
}

// WriteWhole writes data to path by way of a temporary file in the same folder
// and a rename: the file is there whole, or as it was before.
func WriteWhole(path string, data []byte) error {
	return WriteWholeBy(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}

// WriteWholeBy is WriteWhole for what is written piece by piece. An error of write
// leaves the file as it was.
func WriteWholeBy(path string, write func(w io.Writer) error) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // after the rename there is nothing to remove
	if err := write(tmp); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Chmod(0o644); err != nil {
		tmp.Close()
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}
