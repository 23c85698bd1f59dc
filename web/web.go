// Package web serves the bench in a browser: pages over a lab book, for the machine
// that it runs on, or for users who sign in.
//
//  1. Reach.Open opens a port: on loopback, or elsewhere with TLS and users.
//  2. New puts guard, gate, pages, frame and jobs together into one handler.
//  3. Serve answers until its context is done, then lets go of jobs and scratch files.
//
// It has no arithmetic: a page parses, calls package study and shows what package
// report makes of the result.
package web

import (
	"context"
	"errors"
	"log/slog"
	"net/http"
	"os"
	"slices"
	"time"

	"flourcast/study"
	"flourcast/web/desk"
	"flourcast/web/frame"
	"flourcast/web/gate"
	"flourcast/web/guard"
	"flourcast/web/jobs"
	"flourcast/web/labpages"
	"flourcast/web/modelpages"
	"flourcast/web/tradepages"
)

// Limits of the server.
const (
	MaxBody      = 64 << 20 // bytes of a form with its files
	headerWait   = 10 * time.Second
	readWait     = 2 * time.Minute
	writeWait    = 5 * time.Minute
	idleWait     = 2 * time.Minute
	lettingGo    = 5 * time.Second
	maxHeader    = 64 << 10
	jobsTogether = 2
)

// Options say what to serve.
type Options struct {
	Book    string // folder of the lab book
	Title   string // what stands in the bar for it
	Notice  string // printed on every page
	Offered desk.Offered
	Env     study.Env
	Log     *slog.Logger
	Contact string // whom users ask for another role or password
}

// Server is a bench. Make one with New.
type Server struct {
	http.Handler
	board   *jobs.Board
	scratch string
	log     *slog.Logger
}

// New makes the bench behind a door.
func New(door *Door, o Options) (*Server, error) {
	g, err := guard.New(door.guard())
	if err != nil {
		return nil, err
	}
	scratch, err := os.MkdirTemp("", "flourcast-serve-")
	if err != nil {
		return nil, err
	}
	board := jobs.New(jobsTogether, o.Env.Clock)
	d := &desk.Desk{Dir: o.Book, Env: o.Env, Board: board, Guard: g, Bar: frame.Bar{Book: o.Title, Notice: o.Notice}, Scratch: scratch, Offered: o.Offered, Log: o.Log}
	mux := http.NewServeMux()
	mux.Handle("GET /static/", frame.Static())
	s := &Server{Handler: g.Wrap(mux, nil), board: board, scratch: scratch, log: o.Log}
	d.Mount(mux, Pages())
	if door.users != nil {
		d.Least = Least
		in := gate.New(g, d, mux, gate.Options{Users: door.users, Contact: o.Contact, Clock: o.Env.Clock, Log: o.Log})
		d.Mount(mux, in.Pages())
		s.Handler = g.Wrap(gate.Sign(mux), in.Ask)
	}
	return s, nil
}

// Pages are all pages in the order of the bar. A new page is a file with a desk.Page,
// named in the list of its package.
func Pages() []desk.Page {
	return slices.Concat(labpages.Pages(), modelpages.Pages(), tradepages.Pages(), []desk.Page{desk.WorkPage})
}

// Close cancels the jobs and removes what browsers sent.
func (s *Server) Close() error {
	s.board.Close()
	return os.RemoveAll(s.scratch)
}

// Serve answers at the door until ctx is done. It closes the door and s.
func Serve(ctx context.Context, door *Door, s *Server) error {
	h := &http.Server{Handler: s, TLSConfig: door.tls, ErrorLog: slog.NewLogLogger(s.log.Handler(), slog.LevelDebug), ReadHeaderTimeout: headerWait, ReadTimeout: readWait, WriteTimeout: writeWait, IdleTimeout: idleWait, MaxHeaderBytes: maxHeader}
	gone := make(chan error, 1)
	go func() {
		<-ctx.Done()
		wait, cancel := context.WithTimeout(context.WithoutCancel(ctx), lettingGo)
		defer cancel()
		err := h.Shutdown(wait)
		if errors.Is(err, context.DeadlineExceeded) {
			err = h.Close()
		}
		gone <- err
	}()
	var err error
	if door.tls != nil {
		door.pair.log = s.log
		err = h.ServeTLS(door, "", "")
	} else {
		err = h.Serve(door)
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = <-gone
	}
	return errors.Join(err, s.Close())
}
