package shell

import (
	"context"

	"flourcast/dataset"
	"flourcast/dataset/labbook"
	"flourcast/dataset/method"
	"flourcast/finding"
	"flourcast/study"
	"flourcast/study/book"

	"github.com/spf13/cobra"
)

// Book is the flag of every command that reads plain files or a lab book.
type Book struct{ Dir string }

// Add gives the flag.
func (b *Book) Add(c *cobra.Command) {
	c.Flags().StringVar(&b.Dir, "book", "", "lab book to read instead of files: its folder, or postgres://USER@HOST/DATABASE")
}

// Given reports whether the book is to be read.
func (b *Book) Given() bool { return b.Dir != "" }

// Shown is the book's place as it may be shown: a connection string without its
// password.
func (b *Book) Shown() string { return labbook.Shown(b.Dir) }

// Args says how many arguments a command takes: so many with files, fewer with a book.
func (b *Book) Args(files cobra.PositionalArgs, withBook cobra.PositionalArgs) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if b.Given() {
			return withBook(c, args)
		}
		return files(c, args)
	}
}

// Files are the book's rows as files, with its protocols and bake methods, and its methods
// beside those given; lots chooses some. An import map does not go with a book, whose rows
// were read by theirs when they were added.
func (b *Book) Files(ctx context.Context, in Inputs, lots ...string) (dataset.Files, error) {
	if in.Map != "" {
		return dataset.Files{}, &UsageError{"--map does not go with --book: the rows of a book were read by their map when they were added"}
	}
	_, methods, err := in.Load()
	if err != nil {
		return dataset.Files{}, err
	}
	f, err := study.BookFiles(ctx, b.Dir, lots...)
	f.Methods = book.WithMethods(methods, f.Methods)
	return f, err
}

// Fill takes the files of a command from the book, if it is given; then no file may
// be; the protocols and bake methods given stand before the book's. Otherwise it loads
// the import map and methods.
func (b *Book) Fill(ctx context.Context, f *dataset.Files, in Inputs) error {
	if !b.Given() {
		var err error
		f.Map, f.Methods, err = in.Load()
		return err
	}
	for _, list := range [][]string{f.Lots, f.Runs, f.Curves, f.Pasting, f.Texture, f.Bakes, f.Production, f.Controls, f.Events} {
		if len(list) > 0 {
			return &UsageError{list[0] + " and --book: a book is read instead of files; add the file to it first"}
		}
	}
	own, err := b.Files(ctx, in)
	if err != nil {
		return err
	}
	own.Protocols, own.BakeMethods = book.WithProtocols(f.Protocols, own.Protocols), book.WithBakeMethods(f.BakeMethods, own.BakeMethods)
	own.Method, own.Protocol, own.BakeMethod = f.Method, f.Protocol, f.BakeMethod
	*f = own
	return nil
}

// Table reads the table that the one argument names, or joins the book. name says
// which.
func (b *Book) Table(ctx context.Context, env study.Env, args []string, group string) (t *dataset.Table, name string, fl finding.List, err error) {
	if !b.Given() {
		t, fl, err = dataset.ReadTable(args[0], group)
		return t, args[0], fl, err
	}
	if group != "" {
		return nil, "", nil, &UsageError{"--group does not go with --book: a book knows its lots"}
	}
	t, err = study.BookTable(ctx, env, b.Dir)
	return t, "lab book " + b.Shown(), nil, err
}

// Either is for commands that read the file of the one argument themselves: with a book
// its joined table, and its methods beside those given, else nil and the file's name.
func (b *Book) Either(ctx context.Context, env study.Env, args []string, methods *[]method.Method) (joined *dataset.Table, name string, err error) {
	if !b.Given() {
		return nil, args[0], nil
	}
	if *methods, err = study.BookMethods(ctx, b.Dir, *methods); err != nil {
		return nil, "", err
	}
	joined, name, _, err = b.Table(ctx, env, nil, "")
	return joined, name, err
}
