package shell

import (
	"io"
	"os"
	"sync"

	"flourcast/work"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// newProgress shows bars on w when it is a terminal, and nothing otherwise: a
// log file or a test sees no bar.
func newProgress(w io.Writer) work.Progress {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return &bars{w: w}
	}
	return work.Quiet
}

type bars struct {
	w   io.Writer
	mu  sync.Mutex
	bar *progressbar.ProgressBar
}

func (b *bars) Start(label string, total int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.bar = progressbar.NewOptions(total, progressbar.OptionSetWriter(b.w), progressbar.OptionSetDescription(label),
		progressbar.OptionClearOnFinish(), progressbar.OptionSetWidth(30), progressbar.OptionShowCount())
}

func (b *bars) Step(n int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bar != nil {
		_ = b.bar.Add(n) // a bar that cannot be drawn is no reason to stop
	}
}

func (b *bars) Done() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.bar != nil {
		_ = b.bar.Finish()
		b.bar = nil
	}
}
