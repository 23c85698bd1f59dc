package shell

import (
	"flourcast/dataset/method"
	"flourcast/dataset/sheet"
	"flourcast/forecast"

	"github.com/spf13/cobra"
)

// Inputs are the flags of every command that reads laboratory files: an
// import map, and the laboratory's own methods.
type Inputs struct {
	Map     string
	Methods []string
}

// Add puts the flags on a command.
func (f *Inputs) Add(c *cobra.Command) {
	c.Flags().StringVar(&f.Map, "map", "", "import map (TOML) that says how to read the files")
	c.Flags().StringArrayVar(&f.Methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
}

// Load reads the files that the flags name; the map is nil without one.
func (f *Inputs) Load() (*sheet.Map, []method.Method, error) {
	var m *sheet.Map
	if f.Map != "" {
		var err error
		if m, err = sheet.OpenMap(f.Map); err != nil {
			return nil, nil, err
		}
	}
	var methods []method.Method
	for _, path := range f.Methods {
		own, err := method.Open(path)
		if err != nil {
			return nil, nil, err
		}
		methods = append(methods, own)
	}
	return m, methods, nil
}

// Required takes flags and their values by turns and names the first without one.
func Required(flagsAndValues ...string) error {
	for i := 0; i < len(flagsAndValues); i += 2 {
		if flagsAndValues[i+1] == "" {
			return &UsageError{"the flag " + flagsAndValues[i] + " is missing"}
		}
	}
	return nil
}

// Strictly turns a shortfall into exit code 4 when --strict was given.
func (a *App) Strictly(short bool, why string) error {
	if a.Strict && short {
		return &StrictError{why}
	}
	return nil
}

// Spec reads the limits of --spec; nil without any. The error is a *UsageError.
func Spec(text string) (*forecast.Spec, error) {
	if text == "" {
		return nil, nil
	}
	s, err := forecast.ParseSpec(text)
	if err != nil {
		return nil, &UsageError{"--spec: " + err.Error()}
	}
	return &s, nil
}
