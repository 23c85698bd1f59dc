package card

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"flourcast/study/job"
)

// maxBytes bounds what Read takes: a model of 10,000 lots and 1,000 features
// stays below it.
const maxBytes = 256 << 20

// FileError says what is wrong with a model file and what to do.
type FileError struct{ File, Found, Want, Do string }

func (e *FileError) Error() string {
	return fmt.Sprintf("%s: found %s, expected %s; %s", e.File, e.Found, e.Want, e.Do)
}

// Encode writes the card as indented JSON, stamped with the SHA-256 of the same
// JSON with an empty stamp. The card itself is not changed.
func Encode(c *Card) ([]byte, error) {
	stamped := *c
	sum, err := digest(&stamped)
	if err != nil {
		return nil, err
	}
	stamped.SHA256 = sum
	data, err := json.MarshalIndent(&stamped, "", " ")
	if err != nil {
		return nil, fmt.Errorf("model file: %w", err)
	}
	return append(data, '\n'), nil
}

func digest(c *Card) (string, error) {
	bare := *c
	bare.SHA256 = ""
	data, err := json.MarshalIndent(&bare, "", " ")
	if err != nil {
		return "", fmt.Errorf("model file: %w", err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// digestOf is the digest of a file's own bytes with the stamp taken out, so that a
// later version that knows more parts still finds an old file as it was written.
func digestOf(data []byte, stamp string) string {
	const key = `"sha256": "`
	at := bytes.LastIndex(data, []byte(key+stamp+`"`))
	if at < 0 {
		return ""
	}
	at += len(key)
	bare := append(bytes.Clone(data[:at]), bytes.TrimRight(data[at+len(stamp):], "\n")...)
	sum := sha256.Sum256(bare)
	return hex.EncodeToString(sum[:])
}

// Decode reads what Encode wrote. name is used in errors. Every fault is a
// *FileError: no JSON, another schema, an unknown field, a wrong hash, a part
// that contradicts another.
func Decode(name string, data []byte) (*Card, error) {
	if len(data) > maxBytes {
		return nil, &FileError{name, fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", maxBytes), "this is no model file"}
	}
	var head struct {
		Schema string `json:"schema"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return nil, &FileError{name, "no JSON (" + err.Error() + ")", "a model file", "name the file that 'fit -o' wrote"}
	}
	if head.Schema != Schema {
		return nil, &FileError{name, fmt.Sprintf("schema %q", head.Schema), fmt.Sprintf("%q", Schema), "use the version of the program that wrote it, or fit the model again"}
	}
	var c Card
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return nil, &FileError{name, err.Error(), "the parts of " + Schema, "fit the model again"}
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, &FileError{name, "something after the model", "the end of the file", "fit the model again"}
	}
	if digestOf(data, c.SHA256) != c.SHA256 {
		return nil, &FileError{name, "content that does not give its SHA-256", c.SHA256, "the file was changed after it was written: fetch the original, or fit the model again"}
	}
	if err := c.check(); err != nil {
		return nil, &FileError{name, err.Error(), "parts that fit together", "fit the model again"}
	}
	return &c, nil
}

// check compares the parts with each other: the hash only tells that the file
// is as it was written.
func (c *Card) check() error {
	switch {
	case c.Response == "":
		return errors.New("no response")
	case c.Interval == nil || c.Domain == nil:
		return errors.New("no interval or no domain")
	case len(c.Training) == 0:
		return errors.New("no training rows")
	case len(c.Coefficients) != len(c.Features):
		return fmt.Errorf("%d coefficients for %d features", len(c.Coefficients), len(c.Features))
	}
	if c.Cross != nil && len(c.Cross.Models[0].Coefficients) != len(c.Features) {
		return fmt.Errorf("fold models of %d coefficients for %d features", len(c.Cross.Models[0].Coefficients), len(c.Features))
	}
	for i, r := range c.Training {
		if len(r.X) != len(c.Features) {
			return fmt.Errorf("training row %d has %d figures for %d features", i+1, len(r.X), len(c.Features))
		}
	}
	f, err := c.Fitted()
	if err != nil {
		return err
	}
	line := f.Linear()
	for j, name := range c.Features {
		b, ok := c.Coefficients[name]
		if !ok || !agree(b, line.Coefficients[j]) {
			return fmt.Errorf("coefficient of %s is %v here and %v in the model", name, b, line.Coefficients[j])
		}
	}
	if !agree(c.Intercept, line.Intercept) {
		return fmt.Errorf("intercept %v here and %v in the model", c.Intercept, line.Intercept)
	}
	return nil
}

func agree(a, b float64) bool {
	return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), math.Abs(b))+math.SmallestNonzeroFloat64
}

// Of is the card that is given, as the lab book does, or that of the model file.
func Of(given *Card, path string) (*Card, error) {
	if given != nil {
		return given, nil
	}
	return Read(path)
}

// Read opens and decodes a model file.
func Read(path string) (*Card, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if info.Size() > maxBytes {
		return nil, &FileError{path, fmt.Sprintf("%d bytes", info.Size()), fmt.Sprintf("at most %d", maxBytes), "this is no model file"}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Decode(path, data)
}

// Write encodes the card into path: into a file beside it first, then renamed,
// so that a reader never sees half a model.
func Write(path string, c *Card) error {
	data, err := Encode(c)
	if err != nil {
		return err
	}
	return job.WriteWhole(path, data)
}
