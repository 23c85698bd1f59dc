package takeaway_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"flourcast/report/pmml"
)

const long = "FLOURCAST_LONG"

// TestLibreOfficeScoresAsForecastDoes has every kind of model's workbook filled in,
// worked out anew by LibreOffice Calc, and read from the CSV that it writes. `make
// readers` installs it.
func TestLibreOfficeScoresAsForecastDoes(t *testing.T) {
	if os.Getenv(long) == "" {
		t.Skip("runs in make readers (of make long)")
	}
	dir := t.TempDir()
	const lots = 8
	var files []string
	all := models(t)
	for name, c := range all {
		spec := specFor(c)
		data := workbook(t, c, spec)
		for i, x := range lotsFor(c, lots) {
			s := openSheet(t, data, len(c.Features))
			s.fill(t, x)
			if err := s.f.UpdateLinkedValue(); err != nil { // takes the values beside formulas out
				t.Fatal(err)
			}
			path := filepath.Join(dir, fmt.Sprintf("%s-%d.xlsx", name, i))
			if err := s.f.SaveAs(path); err != nil {
				t.Fatal(err)
			}
			files = append(files, path)
		}
	}
	// The first sheet, commas, UTF-8, figures at full precision.
	args := append([]string{"-env:UserInstallation=file://" + filepath.Join(dir, "profile"), "--headless", "--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,false,false,false,false,1", "--outdir", dir}, files...)
	if out, err := exec.Command("soffice", args...).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	compared := 0
	for name, c := range all {
		for i, f := range asked(t, c, lotsFor(c, lots), specFor(c)) {
			data, err := os.ReadFile(filepath.Join(dir, fmt.Sprintf("%s-%d-Score.csv", name, i)))
			if err != nil {
				t.Fatal(err)
			}
			in := csv.NewReader(bytes.NewReader(data))
			in.FieldsPerRecord = -1
			records, err := in.ReadAll()
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]string{}
			for _, r := range records {
				if len(r) > 2 {
					got[r[0]] = r[2]
				}
			}
			compare(t, fmt.Sprintf("%s, lot %d", name, i), c, f, got)
			compared++
		}
	}
	if compared != len(all)*lots {
		t.Errorf("%d lots compared, want %d", compared, len(all)*lots)
	}
}

// TestPMMLByItsSchema has xmllint hold every kind of model's PMML, and some that are
// wrong, against the schema in testdata.
func TestPMMLByItsSchema(t *testing.T) {
	if os.Getenv(long) == "" {
		t.Skip("runs in make readers (of make long)")
	}
	check := func(data []byte) error {
		c := exec.Command("xmllint", "--noout", "--schema", "testdata/pmml-4.4-regression.xsd", "-")
		c.Stdin = bytes.NewReader(data)
		if out, err := c.CombinedOutput(); err != nil {
			return fmt.Errorf("%w\n%s", err, out)
		}
		return nil
	}
	for name, c := range models(t) {
		data, err := pmml.Write(export(t, c, nil))
		if err != nil {
			t.Fatal(err)
		}
		if err := check(data); err != nil {
			t.Error(name, err)
		}
		for _, wrong := range [][2]string{{`functionName="regression"`, ""}, {"<Output>", "<Outcome>"}, {`optype="continuous" dataType="double"`, `optype="continuous"`}, {`function="+"`, `function="plus"`}} {
			bad := strings.Replace(string(data), wrong[0], wrong[1], 1)
			bad = strings.Replace(bad, "</Output>", map[bool]string{true: "</Outcome>", false: "</Output>"}[wrong[0] == "<Output>"], 1)
			if err := check([]byte(bad)); err == nil {
				t.Errorf("%s: %q for %q is not seen", name, wrong[1], wrong[0])
			}
		}
	}
}
