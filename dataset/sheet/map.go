package sheet

import "os"

// Map is a laboratory-written import map (TOML).
type Map struct{ File string }

// OpenMap reads an import map from a file.
func OpenMap(path string) (*Map, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return ParseMap(path, data)
}

// ParseMap reads an import map from bytes; name is used in errors.
func ParseMap(name string, data []byte) (*Map, error) { return &Map{File: name}, nil }
