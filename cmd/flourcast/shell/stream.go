package shell

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"

	"flourcast/study/job"
)

// LongJSON is a result as JSON one of whose lists is too long to be kept: its items
// come one by one and wait outside of memory. Nothing is written before the result
// is whole, so what comes out is all of it or, after an error, nothing.
//
//	l := shell.NewLongJSON("runs")
//	defer l.Close()
//	… l.Add(run) …
//	l.Write(a.Stdout, result) // result.Runs is empty, and not nil
//
// The bytes are those of WriteJSON with the items in the list.
type LongJSON struct {
	key   string
	items spool
	n     int
	line  bytes.Buffer // one item; used again
}

// NewLongJSON makes one whose list is the field of the result named key.
func NewLongJSON(key string) *LongJSON { return &LongJSON{key: key} }

// Add appends an item to the list.
func (l *LongJSON) Add(item any) error {
	data, err := json.Marshal(item)
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	l.line.Reset()
	if l.n > 0 {
		l.line.WriteByte(',')
	}
	l.line.WriteString("\n    ")
	if err := json.Indent(&l.line, data, "    ", "  "); err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	l.n++
	_, err = l.items.Write(l.line.Bytes())
	return err
}

// Write writes the result with the items in its list, which must be empty and not
// nil: another is a fault of the caller, and panics. It may be called again.
func (l *LongJSON) Write(w io.Writer, result any) error {
	data, err := json.MarshalIndent(result, "", "  ")
	if err != nil {
		return fmt.Errorf("writing JSON: %w", err)
	}
	list := fmt.Sprintf("\n  %q: [", l.key) // a line end is never inside of a JSON string
	before, after, found := bytes.Cut(data, []byte(list+"]"))
	if !found {
		panic("shell: LongJSON of a result without an empty list " + l.key)
	}
	if _, err := fmt.Fprintf(w, "%s%s", before, list); err != nil {
		return err
	}
	if err := l.items.copyTo(w); err != nil {
		return err
	}
	end := "]"
	if l.n > 0 {
		end = "\n  ]"
	}
	_, err = fmt.Fprintf(w, "%s%s\n", end, after)
	return err
}

// Keep writes the result to a new file: what was said at the time is not written over.
func (l *LongJSON) Keep(path string, result any) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%s is there already; what was forecast is not written over: name another file", path)
	}
	return job.WriteWholeBy(path, func(w io.Writer) error { return l.Write(w, result) })
}

// Close lets go of the items.
func (l *LongJSON) Close() { l.items.close() }

// spool keeps what is written to it: a little in memory, more in a temporary file.
type spool struct {
	memory bytes.Buffer
	file   *os.File
}

const spoolMemory = 1 << 20

func (s *spool) Write(p []byte) (int, error) {
	s.memory.Write(p)
	if s.memory.Len() < spoolMemory {
		return len(p), nil
	}
	if s.file == nil {
		var err error
		if s.file, err = os.CreateTemp("", "flourcast-*"); err != nil {
			return 0, fmt.Errorf("a long result waits in a temporary file until it is whole: %w", err)
		}
		_ = os.Remove(s.file.Name()) // it lives until it is closed; where a system keeps open files, close removes it
	}
	if _, err := s.memory.WriteTo(s.file); err != nil {
		return 0, fmt.Errorf("a long result waits in a temporary file until it is whole: %w", err)
	}
	return len(p), nil
}

func (s *spool) copyTo(w io.Writer) error {
	if s.file != nil {
		if _, err := s.file.Seek(0, io.SeekStart); err != nil {
			return err
		}
		if _, err := io.Copy(w, s.file); err != nil {
			return err
		}
	}
	_, err := w.Write(s.memory.Bytes())
	return err
}

func (s *spool) close() {
	if s.file != nil {
		s.file.Close()
		_ = os.Remove(s.file.Name()) // gone already on most systems
	}
}
