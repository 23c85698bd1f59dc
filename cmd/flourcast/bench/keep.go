// Package bench has the commands of whoever keeps the lab book: make one, add files,
// correct, list, tell the trail, verify, back up, and write down specifications and
// decisions. Each parses, calls and shows.
package bench

import (
	"fmt"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/labbook"
	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/study/book"
	"flourcast/study/bookkeeping"
	"flourcast/study/entry"

	"github.com/spf13/cobra"
)

// bookFlag gives the flag that names the book.
func bookFlag(c *cobra.Command, dir *string) {
	c.Flags().StringVar(dir, "book", "", "lab book: its folder, or postgres://USER@HOST/DATABASE")
}

func operatorFlag(c *cobra.Command, name *string) {
	c.Flags().StringVar(name, "operator", "", "who does this, as it shall stand in the book")
}

// Init is the command `init`.
func Init(a *shell.App) *cobra.Command {
	return &cobra.Command{
		Use:   "init DIR, or init postgres://USER@HOST/DATABASE",
		Short: "Make a lab book: a folder that keeps every lot, run, reading, model, forecast and decision",
		Long: `init makes a folder with the book's database and originals/, where every file that
is added is kept as it came. Nothing in a book is ever overwritten. Laboratories that
share lots and models make it in a PostgreSQL database, named by a connection string.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			res, err := bookkeeping.Init(c.Context(), args[0])
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return reportbook.Folder("Lab book", res) })
		},
	}
}

// intakeFlags are the flags of add and correct: how the files are to be read.
type intakeFlags struct {
	q         entry.AddRequest
	mapFile   string
	methods   []string
	protocols []string
	bakes     []string
}

func (f *intakeFlags) add(c *cobra.Command) {
	bookFlag(c, &f.q.Dir)
	operatorFlag(c, &f.q.Operator)
	fl := c.Flags()
	fl.StringVar(&f.mapFile, "map", "", "import map (TOML) that says how to read the files")
	fl.StringArrayVar(&f.methods, "method-file", nil, "the laboratory's own method (TOML); may be repeated")
	fl.StringArrayVar(&f.protocols, "protocol-file", nil, "the laboratory's own texture protocol (TOML); may be repeated")
	fl.StringArrayVar(&f.bakes, "bake-method-file", nil, "the laboratory's own bake method (TOML); may be repeated")
	fl.StringVar(&f.q.Method, "method", "", "method of curves whose file does not name it")
	fl.StringVar(&f.q.Lot, "lot", "", "lot of a curve whose file does not name it")
	fl.BoolVar(&f.q.DryRun, "dry-run", false, "say what would be written, and write nothing")
}

func (f *intakeFlags) load() error {
	if err := shell.Required("--book", f.q.Dir); err != nil {
		return err
	}
	if f.mapFile != "" {
		text, err := book.ReadText(f.mapFile)
		if err != nil {
			return err
		}
		f.q.Map = &text
	}
	var err error
	f.q.Rules, err = book.ReadRules(f.methods, f.protocols, f.bakes)
	return err
}

func (f *intakeFlags) run(a *shell.App, c *cobra.Command) error {
	f.q.Strict = a.Strict
	res, err := entry.Add(c.Context(), a.Env(), f.q)
	if err != nil {
		return err
	}
	if err := a.Show(res, func() report.Document { return reportbook.Add(res) }); err != nil {
		return err
	}
	return a.Strictly(res.Short(), "rows were refused, and nothing was written")
}

// Add is the command `add`.
func Add(a *shell.App) *cobra.Command {
	var f intakeFlags
	c := &cobra.Command{
		Use:   "add FILE... --book DIR",
		Short: "Add files to the lab book: lots, runs, curves, pasting values, texture, bakes",
		Long: `add tells from its columns what each file is, and writes all accepted rows of the
call at once: they are all in the book, or none. Rows whose lot or run is not known yet
are kept and wait for it. Refused rows are listed, and stop nobody else's; with --strict
they stop the call. A row that the book has already is not written again; one that
differs from the book's is refused, for a correction has its own command and a reason.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.load(); err != nil {
				return err
			}
			f.q.Paths = args
			return f.run(a, c)
		},
	}
	f.add(c)
	a.StrictFlag(c, "a row is refused, and write nothing")
	return c
}

// Correct is the command `correct`.
func Correct(a *shell.App) *cobra.Command {
	var f intakeFlags
	var withdraw int64
	c := &cobra.Command{
		Use:   "correct FILE... --book DIR --reason TEXT, or --withdraw ROW",
		Short: "Correct rows of the lab book: new rows that name the old ones and the reason",
		Long: `correct takes files of the same form as add. Each of their rows stands in for the
book's row of the same name (lot, run, replicate …), or, with --row, for that row.
--withdraw takes a row out of what counts. The old rows stay in the book; 'log' shows
both. Row numbers are those of 'log'.`,
		RunE: func(c *cobra.Command, args []string) error {
			if err := f.load(); err != nil {
				return err
			}
			if err := shell.Required("--reason", f.q.Reason); err != nil {
				return err
			}
			switch {
			case withdraw != 0 && (len(args) > 0 || f.q.Replaces != 0 || f.q.DryRun):
				return &shell.UsageError{What: "--withdraw takes no files, no --row and no --dry-run"}
			case withdraw != 0:
				res, err := entry.Withdraw(c.Context(), a.Env(), entry.WithdrawRequest{Dir: f.q.Dir, Row: withdraw, Reason: f.q.Reason, Operator: f.q.Operator})
				if err != nil {
					return err
				}
				return a.Show(res, func() report.Document { return reportbook.Withdraw(res) })
			case len(args) == 0:
				return &shell.UsageError{What: "correct needs a file, or --withdraw"}
			}
			f.q.Paths = args
			return f.run(a, c)
		},
	}
	f.add(c)
	fl := c.Flags()
	fl.StringVar(&f.q.Reason, "reason", "", "why; it stands beside the correction for good")
	fl.Int64Var(&f.q.Replaces, "row", 0, "row of the book that the file's one entry stands in for")
	fl.Int64Var(&withdraw, "withdraw", 0, "row of the book that no longer counts")
	a.StrictFlag(c, "a row is refused, and write nothing")
	return c
}

// Lots is the command `lots`.
func Lots(a *shell.App) *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "lots --book DIR",
		Short: "List the lots of the lab book with what it has of each",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := shell.Required("--book", dir); err != nil {
				return err
			}
			res, err := bookkeeping.Lots(c.Context(), dir)
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return reportbook.Lots(res) })
		},
	}
	bookFlag(c, &dir)
	return c
}

// Log is the command `log`.
func Log(a *shell.App) *cobra.Command {
	var q bookkeeping.LogRequest
	c := &cobra.Command{
		Use:   "log --book DIR",
		Short: "Tell the trail: every row of the lab book, who wrote it when, from what, correcting what",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := shell.Required("--book", q.Dir); err != nil {
				return err
			}
			res, err := bookkeeping.Log(c.Context(), q)
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return reportbook.Log(res) })
		},
	}
	bookFlag(c, &q.Dir)
	c.Flags().StringVar(&q.Lot, "lot", "", "rows of this lot only")
	c.Flags().StringSliceVar(&q.Kinds, "kind", nil, "rows of these kinds only: original, lot, test, run, reading, note, control, event, method, model, forecast, outcome, spec, disposition, purpose")
	c.Flags().IntVar(&q.Limit, "last", 0, "the last so many rows only (0: all)")
	return c
}

// Verify is the command `verify`.
func Verify(a *shell.App) *cobra.Command {
	var dir, head string
	c := &cobra.Command{
		Use:   "verify --book DIR",
		Short: "Recompute every hash and derived figure of the lab book, and name what differs",
		Long: `verify recomputes the chain of hashes over all rows, takes every original in anew and
compares its rows and derived figures with the book's, and works every stored
forecast's figure out anew from the model and the features that the book has. Exit
code 0 only when all holds, else 1.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := shell.Required("--book", dir); err != nil {
				return err
			}
			res, err := bookkeeping.Verify(c.Context(), a.Env(), dir, head)
			if err != nil {
				return err
			}
			if err := a.Show(res, func() report.Document { return reportbook.Verify(res) }); err != nil {
				return err
			}
			if !res.OK {
				return fmt.Errorf("%s: %d differences", labbook.Shown(dir), len(res.Differences))
			}
			return nil
		},
	}
	bookFlag(c, &dir)
	c.Flags().StringVar(&head, "head", "", "hash of the last row as noted at an earlier time: the book has to have it")
	return c
}

// Backup is the command `backup`.
func Backup(a *shell.App) *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "backup FOLDER --book DIR",
		Short: "Write a whole copy of the lab book into a new folder, and check the copy",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--book", dir); err != nil {
				return err
			}
			res, err := bookkeeping.Backup(c.Context(), dir, args[0])
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return reportbook.Folder("Backup of the lab book", res) })
		},
	}
	bookFlag(c, &dir)
	return c
}

// Restore is the command `restore`.
func Restore(a *shell.App) *cobra.Command {
	return &cobra.Command{
		Use:   "restore BACKUP DIR",
		Short: "Make a lab book from a backup that is as it was written",
		Args:  cobra.ExactArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			res, err := bookkeeping.Restore(c.Context(), args[0], args[1])
			if err != nil {
				return err
			}
			return a.Show(res, func() report.Document { return reportbook.Folder("Restored lab book", res) })
		},
	}
}

// opened runs f on the book in dir.
func opened(c *cobra.Command, dir string, f func(b *book.Book) error) error {
	if err := shell.Required("--book", dir); err != nil {
		return err
	}
	b, err := book.Open(c.Context(), dir)
	if err != nil {
		return err
	}
	defer b.Close()
	return f(b)
}
