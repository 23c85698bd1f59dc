// Package web serves the bench in a browser: pages over a lab book, for the machine
// that it runs on.
//
//  1. New puts guard, pages, frame and jobs together into one handler.
//  2. Listen opens a port on loopback; any other address is refused.
//  3. Serve answers until its context is done, then lets go of jobs and scratch files.
//
// It has no arithmetic: a page parses, calls package study and shows what package
// report makes of the result.
package web

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"slices"
	"strconv"
	"time"

	"flourcast/study"
	"flourcast/web/desk"
	"flourcast/web/frame"
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
}

// Server is a bench. Make one with New.
type Server struct {
	http.Handler
	board   *jobs.Board
	scratch string
}

// ListenError says that an address is not for this server.
type ListenError struct{ Found, Want, Do string }

func (e *ListenError) Error() string {
	return fmt.Sprintf("found %s; expected %s; %s", e.Found, e.Want, e.Do)
}

// Listen opens an address of this machine's loopback ("127.0.0.1:0": any free port).
// Everything else is a *ListenError: the bench has no users and no encryption, so it
// must not be reached from elsewhere.
func Listen(address string) (net.Listener, error) {
	loopback := &ListenError{Found: "the address " + strconv.Quote(address), Want: "one of this machine only, such as 127.0.0.1:8080", Do: "use a tunnel of your own if another machine has to reach it"}
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, loopback
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	ip, err := netip.ParseAddr(host)
	if err != nil || !ip.IsLoopback() {
		return nil, loopback
	}
	return net.Listen("tcp", net.JoinHostPort(ip.String(), port))
}

// hosts are the names under which the server answers.
func hosts(at net.Addr) []string {
	_, port, err := net.SplitHostPort(at.String())
	if err != nil {
		return nil
	}
	return []string{at.String(), "localhost:" + port, "127.0.0.1:" + port}
}

// New makes the bench for a listener's address.
func New(at net.Addr, o Options) (*Server, error) {
	g, err := guard.New(hosts(at), MaxBody)
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
	d.Mount(mux, Pages())
	return &Server{Handler: g.Wrap(mux), board: board, scratch: scratch}, nil
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

// Serve answers on the listener until ctx is done. It closes the listener and s.
func Serve(ctx context.Context, l net.Listener, s *Server) error {
	h := &http.Server{Handler: s, ReadHeaderTimeout: headerWait, ReadTimeout: readWait, WriteTimeout: writeWait, IdleTimeout: idleWait, MaxHeaderBytes: maxHeader}
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
	err := h.Serve(l)
	if errors.Is(err, http.ErrServerClosed) {
		err = <-gone
	}
	return errors.Join(err, s.Close())
}
