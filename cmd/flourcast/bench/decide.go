package bench

import (
	"context"
	"fmt"
	"strings"

	"flourcast/cmd/flourcast/shell"
	"flourcast/dataset/labbook"
	"flourcast/forecast"
	"flourcast/report"
	reportbook "flourcast/report/book"
	"flourcast/study/book"

	"github.com/spf13/cobra"
)

// entered is what the commands that write one row print with --json.
type entered struct {
	Schema string `json:"schema"`
	Book   string `json:"book"`
	Row    int64  `json:"row"`
	What   any    `json:"what"`
}

// listed is what the commands that list them print.
type listed[T any] struct {
	Schema string         `json:"schema"`
	Book   string         `json:"book"`
	Rows   []book.Said[T] `json:"rows"`
}

// shown shows a row that was written.
func shown(a *shell.App, dir, name string, row labbook.Row, what any) error {
	dir = labbook.Shown(dir)
	return a.Show(entered{"flourcast." + name + "/1", dir, row.ID, what}, func() report.Document {
		return report.Document{Title: "Written down", Subtitle: fmt.Sprintf("%s, row %d of %s", name, row.ID, dir)}
	})
}

// listing is a command that lists the rows of one kind.
func listing[T any](a *shell.App, schema, short string, read func(ctx context.Context, b *book.Book) ([]book.Said[T], error), document func(dir string, all []book.Said[T]) report.Document) *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use: "list --book DIR", Short: short, Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			return opened(c, dir, func(b *book.Book) error {
				all, err := read(c.Context(), b)
				if err != nil {
					return err
				}
				dir := labbook.Shown(dir)
				return a.Show(listed[T]{schema, dir, all}, func() report.Document { return document(dir, all) })
			})
		},
	}
	bookFlag(c, &dir)
	return c
}

// Spec is the command `spec`.
func Spec(a *shell.App) *cobra.Command {
	var dir, operator, limits string
	var s book.Spec
	add := &cobra.Command{
		Use:   "add --book DIR --customer NAME --product ID --limits 'hardness_N=3.2..4.0' --revision R --valid-from DAY",
		Short: "Write a specification down; a new revision is a new row",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := shell.Required("--book", dir, "--customer", s.Customer, "--product", s.Product, "--limits", limits, "--revision", s.Revision, "--valid-from", s.ValidFrom); err != nil {
				return err
			}
			parsed, err := forecast.ParseSpec(limits)
			if err != nil {
				return &shell.UsageError{What: "--limits: " + err.Error()}
			}
			s := s.With(parsed)
			return opened(c, dir, func(b *book.Book) error {
				row, err := b.AddSpec(c.Context(), a.Env(), s, operator)
				if err != nil {
					return err
				}
				return shown(a, dir, "spec", row, s)
			})
		},
	}
	bookFlag(add, &dir)
	operatorFlag(add, &operator)
	add.Flags().StringVar(&s.Customer, "customer", "", "whose specification")
	add.Flags().StringVar(&s.Product, "product", "", "of which product")
	add.Flags().StringVar(&limits, "limits", "", "limits of the response: 'hardness_N=3.2..4.0', '3.2..' or '..4.0'")
	add.Flags().StringVar(&s.Revision, "revision", "", "revision of the specification")
	add.Flags().StringVar(&s.ValidFrom, "valid-from", "", "day from which it holds, such as 2026-03-14")
	c := &cobra.Command{Use: "spec", Short: "Specifications in the lab book: add, list"}
	c.AddCommand(add, listing(a, "flourcast.specs/1", "List the specifications", func(ctx context.Context, b *book.Book) ([]book.Said[book.Spec], error) { return b.Specs(ctx) }, reportbook.Specs))
	return c
}

// Disposition is the command `disposition`.
func Disposition(a *shell.App) *cobra.Command {
	var dir, operator string
	var d book.Disposition
	add := &cobra.Command{
		Use:   "add LOT --book DIR --as " + strings.Join(book.Dispositions, "|") + " --who NAME --why TEXT",
		Short: "Write down what people did with a lot, and why",
		Args:  cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--book", dir, "--as", d.As, "--who", d.Who, "--why", d.Why); err != nil {
				return err
			}
			d.Lot = args[0]
			return opened(c, dir, func(b *book.Book) error {
				row, err := b.AddDisposition(c.Context(), a.Env(), d, operator)
				if err != nil {
					return err
				}
				return shown(a, dir, "disposition", row, d)
			})
		},
	}
	bookFlag(add, &dir)
	operatorFlag(add, &operator)
	add.Flags().StringVar(&d.As, "as", "", "what was done with it: "+strings.Join(book.Dispositions, ", "))
	add.Flags().StringVar(&d.Who, "who", "", "who decided")
	add.Flags().StringVar(&d.Why, "why", "", "why")
	c := &cobra.Command{Use: "disposition", Short: "What people did with lots, beside what the program said: add, list"}
	c.AddCommand(add, listing(a, "flourcast.dispositions/1", "List the dispositions", func(ctx context.Context, b *book.Book) ([]book.Said[book.Disposition], error) {
		return b.DispositionsOf(ctx)
	}, reportbook.Dispositions))
	return c
}

// Purpose is the command `purpose`.
func Purpose(a *shell.App) *cobra.Command {
	var dir, operator string
	var p book.Purpose
	add := &cobra.Command{
		Use:   "add LOT --book DIR --why TEXT [--product ID]",
		Short: "Write down why noodles or cakes were made from a lot",
		Long: `A model is followed up on the lots that were made into noodles. Whether a lot was
taken because it was accepted, because it was held, at random, or after a complaint
decides what its outcome can tell.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := shell.Required("--book", dir, "--why", p.Why); err != nil {
				return err
			}
			p.Lot = args[0]
			return opened(c, dir, func(b *book.Book) error {
				row, err := b.AddPurpose(c.Context(), a.Env(), p, operator)
				if err != nil {
					return err
				}
				return shown(a, dir, "purpose", row, p)
			})
		},
	}
	bookFlag(add, &dir)
	operatorFlag(add, &operator)
	add.Flags().StringVar(&p.Product, "product", "", "what was made")
	add.Flags().StringVar(&p.Why, "why", "", "why: accepted, held, at random, complaint …")
	c := &cobra.Command{Use: "purpose", Short: "Why noodles or cakes were made from lots: add, list"}
	c.AddCommand(add, listing(a, "flourcast.purposes/1", "List the purposes", func(ctx context.Context, b *book.Book) ([]book.Said[book.Purpose], error) { return b.PurposesOf(ctx) }, reportbook.Purposes))
	return c
}
