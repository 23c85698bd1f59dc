package main

import (
	"os"

	"flourcast/dataset/method"
	"flourcast/dataset/sheet"

	"github.com/spf13/cobra"
)

// inputFlags are the flags of every command that reads laboratory files: an
// import map, and the laboratory's own methods.
type inputFlags struct {
	mapFile     string
	methodFiles []string
}

func (f *inputFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.mapFile, "map", "", "import map (TOML) that says how to read the files")
	c.Flags().StringArrayVar(&f.methodFiles, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
}

func (f *inputFlags) load() (*sheet.Map, []method.Method, error) {
	var m *sheet.Map
	if f.mapFile != "" {
		var err error
		if m, err = sheet.OpenMap(f.mapFile); err != nil {
			return nil, nil, err
		}
	}
	var methods []method.Method
	for _, path := range f.methodFiles {
		data, err := os.ReadFile(path)
		if err != nil {
			return nil, nil, err
		}
		own, err := method.Parse(path, data)
		if err != nil {
			return nil, nil, err
		}
		methods = append(methods, own)
	}
	return m, methods, nil
}

// required takes flags and their values by turns and names the first without one.
func required(flagsAndValues ...string) error {
	for i := 0; i < len(flagsAndValues); i += 2 {
		if flagsAndValues[i+1] == "" {
			return &usageError{"the flag " + flagsAndValues[i] + " is missing"}
		}
	}
	return nil
}

// strictly turns a shortfall into exit code 4 when --strict was given.
func (a *app) strictly(short bool, why string) error {
	if a.strict && short {
		return &strictError{why}
	}
	return nil
}
