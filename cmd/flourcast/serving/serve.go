// Package serving has the command that shows the bench in a browser.
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
	var dir, listen string
	var invented bool
	c := &cobra.Command{
		Use:   "serve --demo | --book DIR [--listen 127.0.0.1:PORT]",
		Short: "Show the lab book, its models and forecasts in a browser on this machine",
		Long: `serve prints an address; open it in a browser. It answers this machine only, asks
no other for anything, and stops with Ctrl-C. With --demo it makes an invented mill's
lab book in a temporary folder, which is removed at the end.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if invented == (dir != "") {
				return &shell.UsageError{What: "give one of --demo and --book DIR"}
			}
			// A plain kill is to leave no temporary folder behind.
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM)
			defer stop()
			o := web.Options{Book: dir, Title: dir, Env: a.Env(), Log: slog.New(slog.NewTextHandler(a.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))}
			l, err := web.Listen(listen)
			if err != nil {
				return &shell.UsageError{What: "--listen: " + err.Error()}
			}
			defer l.Close() // Serve closes it; a fault before that must too
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
			s, err := web.New(l.Addr(), o)
			if err != nil {
				return err
			}
			if err := say(a, l.Addr().String()); err != nil {
				return err
			}
			return web.Serve(ctx, l, s)
		},
	}
	c.Flags().BoolVar(&invented, "demo", false, "an invented mill's lab book, made for the occasion")
	c.Flags().StringVar(&dir, "book", "", "folder of the lab book")
	c.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "address of this machine; port 0 takes a free one")
	a.SeedFlag(c)
	return c
}

// served is what serve prints with --json.
type served struct {
	Schema  string `json:"schema"`
	Address string `json:"address"`
}

func say(a *shell.App, address string) error {
	url := "http://" + address + "/"
	if a.AsJSON {
		return a.WriteJSON(served{"flourcast.serve/1", url})
	}
	_, err := io.WriteString(a.Stdout, fmt.Sprintf("flourcast is at %s (Ctrl-C stops it)\n", url))
	return err
}
