package bridge

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
)

// Schema is the version of bridge files that this program writes and reads.
const Schema = "flourcast.bridge-file/1"

const maxBytes = 64 << 20

// Encode writes the bridge as indented JSON, stamped with the SHA-256 of the same
// JSON with an empty stamp. b is not changed.
func Encode(b *Bridge) ([]byte, error) {
	stamped := *b
	sum, err := digest(stamped)
	if err != nil {
		return nil, err
	}
	stamped.SHA256 = sum
	data, err := json.MarshalIndent(stamped, "", " ")
	if err != nil {
		return nil, fmt.Errorf("bridge file: %w", err)
	}
	return append(data, '\n'), nil
}

func digest(b Bridge) (string, error) {
	b.SHA256 = ""
	data, err := json.MarshalIndent(b, "", " ")
	if err != nil {
		return "", fmt.Errorf("bridge file: %w", err)
	}
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:]), nil
}

// Decode reads what Encode wrote; name is used in errors. Every fault is an *Error:
// no JSON, another schema, an unknown field, a wrong hash, figures that cannot be.
func Decode(name string, data []byte) (*Bridge, error) {
	fail := func(found, want string) (*Bridge, error) {
		return nil, &Error{name, found, want, "name the file that 'bridge -o' wrote, or make the bridge again"}
	}
	if len(data) > maxBytes {
		return fail(fmt.Sprintf("%d bytes", len(data)), fmt.Sprintf("at most %d", maxBytes))
	}
	var head struct {
		Schema string `json:"schema"`
	}
	if err := json.Unmarshal(data, &head); err != nil {
		return fail("no JSON ("+err.Error()+")", "a bridge file")
	}
	if head.Schema != Schema {
		return fail(fmt.Sprintf("schema %q", head.Schema), fmt.Sprintf("%q", Schema))
	}
	var b Bridge
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(&b); err != nil {
		return fail(err.Error(), "the parts of "+Schema)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return fail("something after the bridge", "the end of the file")
	}
	sum, err := digest(b)
	if err != nil {
		return nil, err
	}
	if sum != b.SHA256 {
		return fail("content that does not give its SHA-256", b.SHA256)
	}
	if err := b.check(); err != nil {
		return fail(err.Error(), "figures that can be")
	}
	return &b, nil
}

// check looks at what arithmetic relies on: the hash only tells that the file is as
// it was written.
func (b *Bridge) check() error {
	p := len(b.Features)
	if p == 0 || b.Lots < Least || len(b.Covariance) != p {
		return fmt.Errorf("%d features, %d lots, %d rows of covariances", p, b.Lots, len(b.Covariance))
	}
	for _, row := range b.Covariance {
		if len(row) != p {
			return fmt.Errorf("a row of %d covariances for %d features", len(row), p)
		}
	}
	seen := map[string]bool{}
	for j, f := range b.Features {
		ok := !seen[f.Name] && f.Name != "" && f.Low <= f.High && f.Spread > 0
		seen[f.Name] = true
		for _, v := range []float64{f.Low, f.High, f.Slope.Value, f.Intercept.Value, f.Mean, f.Spread, f.Residual} {
			ok = ok && !math.IsNaN(v) && !math.IsInf(v, 0)
		}
		for k := 0; ok && k < p; k++ {
			c := b.Covariance[j][k]
			ok = c == b.Covariance[k][j] && !math.IsNaN(c) && !math.IsInf(c, 0) && (k != j || c >= 0)
		}
		if !ok {
			return fmt.Errorf("feature %d (%s) with figures that do not fit together", j+1, f.Name)
		}
	}
	return nil
}
