// Package serving has the commands that show the bench in a browser, and say who may
// sign in there.
package serving

import (
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"syscall"

	"flourcast/cmd/flourcast/shell"
	"flourcast/demo"
	"flourcast/demo/diary"
	"flourcast/study/book"
	"flourcast/web"

	"github.com/spf13/cobra"
)

// Serve is the command.
func Serve(a *shell.App) *cobra.Command {
	var dir, contact string
	var reach web.Reach
	var invented bool
	c := &cobra.Command{
		Use:   "serve --demo | --book DIR [--listen ADDRESS:PORT] [--users FILE] [--tls-cert FILE --tls-key FILE --host NAME]",
		Short: "Show the lab book, its models and forecasts in a browser",
		Long: `serve prints an address; open it in a browser. It answers this machine only, asks
no other for anything, and stops with Ctrl-C. With --demo it makes an invented mill's
lab book in a temporary folder, which is removed at the end.

With --users whoever comes has to sign in, and may as much as their role (see
'flourcast user'). To listen at an address that other machines can reach, all of
--tls-cert, --tls-key, --users and --host are needed; docs/serving.md says how, and
what to think of first.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if invented == (dir != "") {
				return &shell.UsageError{What: "give one of --demo and --book DIR"}
			}
			// A plain kill is to leave no temporary folder behind.
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM)
			defer stop()
			level := slog.LevelWarn
			if reach.Users != "" {
				level = slog.LevelInfo // who signs in
			}
			o := web.Options{Book: dir, Title: dir, Contact: contact, Env: a.Env(), Log: slog.New(slog.NewTextHandler(a.Stderr, &slog.HandlerOptions{Level: level}))}
			door, err := reach.Open(o.Env.Now)
			if err != nil {
				return refused("", err)
			}
			defer door.Close() // Serve closes it; a fault before that must too
			if invented {
				temp, err := os.MkdirTemp("", "flourcast-demo-")
				if err != nil {
					return err
				}
				defer os.RemoveAll(temp)
				o.Title, o.Notice = demo.Name, demo.Notice
				if o.Book, err = diary.Write(ctx, o.Env, temp, demo.Notice); err != nil {
					return err
				}
				o.Offered.Stock, o.Offered.Blends = diary.Stock(temp)
			} else {
				b, err := book.Open(ctx, dir)
				if err != nil {
					return err
				}
				if err := b.Close(); err != nil {
					return err
				}
			}
			o.Env.Progress = nil // jobs have their own
			s, err := web.New(door, o)
			if err != nil {
				return err
			}
			if err := say(a, door.URL()); err != nil {
				return err
			}
			return web.Serve(ctx, door, s)
		},
	}
	c.Flags().BoolVar(&invented, "demo", false, "an invented mill's lab book, made for the occasion")
	c.Flags().StringVar(&dir, "book", "", "folder of the lab book")
	c.Flags().StringVar(&reach.Address, "listen", "127.0.0.1:0", "address to listen at; port 0 takes a free one; beyond this machine the four flags below are needed")
	c.Flags().StringVar(&reach.Certificate, "tls-cert", "", "certificate in PEM, with those between it and its root")
	c.Flags().StringVar(&reach.Key, "tls-key", "", "the certificate's key in PEM")
	c.Flags().StringVar(&reach.Users, "users", "", "file of users, who then have to sign in")
	c.Flags().StringArrayVar(&reach.Hosts, "host", nil, "name by which browsers ask for the server; may be given several times")
	c.Flags().StringVar(&contact, "contact", "", "whom users ask for another role or password, as it shall stand on the pages")
	a.SeedFlag(c)
	return c
}

// served is what serve prints with --json.
type served struct {
	Schema  string `json:"schema"`
	Address string `json:"address"`
}

func say(a *shell.App, url string) error {
	if a.AsJSON {
		return a.WriteJSON(served{"flourcast.serve/1", url})
	}
	_, err := io.WriteString(a.Stdout, fmt.Sprintf("flourcast is at %s (Ctrl-C stops it)\n", url))
	return err
}
