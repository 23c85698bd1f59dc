package web

import (
	"cmp"
	"crypto/tls"
	"fmt"
	"net"
	"net/netip"
	"regexp"
	"strconv"
	"strings"
	"time"

	"flourcast/web/guard"
	"flourcast/web/people"
)

// Reach says where a bench can be reached, and by whom. On loopback only Address is
// needed. Elsewhere everything is.
type Reach struct {
	Address          string // "127.0.0.1:0": any free port
	Certificate, Key string // files in PEM
	Users            string // file of users
	// Hosts are the names by which browsers ask, "bench.example" or, where it is not the
	// port that is listened at, "bench.example:8443".
	Hosts []string
}

// ListenError says why a bench is not to be reached as it was asked for.
type ListenError struct{ Found, Want, Do string }

func (e *ListenError) Error() string {
	return fmt.Sprintf("found %s; expected %s; %s", e.Found, e.Want, e.Do)
}

// Door is an open port, and who is let in there. Make one with Reach.Open.
type Door struct {
	net.Listener
	beyond bool // this machine
	tls    *tls.Config
	pair   *renewed
	names  []string
	users  *people.Source
}

// Open checks everything, then opens the port. Certificates are held against the clock,
// again whenever their file changes. Errors: *ListenError for an address, certificate or name that is not fit,
// or beyond loopback for what is missing; those of people.Open for the file of users.
func (r Reach) Open(clock func() time.Time) (*Door, error) {
	address, loopback, err := r.address()
	if err != nil {
		return nil, err
	}
	d := &Door{beyond: !loopback}
	if err := r.complete(loopback); err != nil {
		return nil, err
	}
	if d.names, err = r.names(); err != nil {
		return nil, err
	}
	if r.Certificate != "" {
		d.pair = &renewed{path: r.Certificate, read: func() (*tls.Certificate, error) { return r.certificate(d.names, clock()) }}
		if err := d.pair.look(); err != nil {
			return nil, err
		}
		d.tls = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: d.pair.get} // 1.3 wherever the browser knows it
	}
	if r.Users != "" {
		if d.users, err = people.Open(r.Users); err != nil {
			return nil, err
		}
	}
	if d.Listener, err = net.Listen("tcp", address); err != nil {
		return nil, err
	}
	return d, nil
}

// address is the address to listen at, and whether it is of this machine only.
func (r Reach) address() (address string, loopback bool, err error) {
	host, port, err := net.SplitHostPort(r.Address)
	if err != nil {
		return "", false, &ListenError{Found: "the address " + strconv.Quote(r.Address), Want: "one with a port, such as 127.0.0.1:8080 of this machine only", Do: "give --listen ADDRESS:PORT"}
	}
	if host == "localhost" {
		host = "127.0.0.1"
	}
	ip, err := netip.ParseAddr(host)
	return net.JoinHostPort(host, port), err == nil && ip.IsLoopback(), nil
}

// complete says what is missing.
func (r Reach) complete(loopback bool) error {
	var missing []string
	for _, x := range []struct{ flag, value string }{{"--tls-cert", r.Certificate}, {"--tls-key", r.Key}, {"--users", r.Users}, {"--host", strings.Join(r.Hosts, "")}} {
		if x.value == "" {
			missing = append(missing, x.flag)
		}
	}
	switch {
	case !loopback && len(missing) > 0:
		return &ListenError{Found: "the address " + strconv.Quote(r.Address) + ", which is not of this machine only, without " + strings.Join(missing, ", "),
			Want: "a certificate, its key, users and the names of the server beside it", Do: "give them, or listen at 127.0.0.1:PORT and let others come by a tunnel (docs/serving.md)"}
	case (r.Certificate == "") != (r.Key == ""):
		return &ListenError{Found: "one of --tls-cert and --tls-key", Want: "both or none", Do: "give the other one"}
	}
	return nil
}

var hostForm = regexp.MustCompile(`^[a-z0-9]([a-z0-9.-]*[a-z0-9])?$`)

// names are the hosts in small letters, a port only where one was given.
func (r Reach) names() ([]string, error) {
	var out []string
	for _, given := range r.Hosts {
		name := strings.ToLower(given)
		host, port := split(name)
		_, err := netip.ParseAddr(host)
		if n, bad := strconv.ParseUint(port, 10, 16); err != nil && !hostForm.MatchString(host) || port != "" && (bad != nil || n == 0) {
			return nil, &ListenError{Found: "the host " + strconv.Quote(given), Want: "a name such as bench.example, or an address", Do: "leave https:// and everything behind the name out"}
		}
		out = append(out, name)
	}
	return out, nil
}

// split parts a host from its port, if it has one.
func split(name string) (host, port string) {
	if host, port, err := net.SplitHostPort(name); err == nil {
		return host, port
	}
	return strings.Trim(name, "[]"), ""
}

// hosts are the names under which the server answers, as browsers send them: without
// the port where it is the usual one.
func (d *Door) hosts() []string {
	_, port, err := net.SplitHostPort(d.Addr().String())
	if err != nil {
		return nil
	}
	usual := "80"
	if d.tls != nil {
		usual = "443"
	}
	var out []string
	add := func(host, port string) {
		out = append(out, net.JoinHostPort(host, port))
		if port == usual && strings.Contains(host, ":") {
			host = "[" + host + "]"
		}
		if port == usual {
			out = append(out, host)
		}
	}
	if !d.beyond {
		add("localhost", port)
		add("127.0.0.1", port)
		out = append(out, d.Addr().String())
	}
	for _, name := range d.names {
		host, own := split(name)
		add(host, cmp.Or(own, port))
	}
	return out
}

// guard is what the guard has to know.
func (d *Door) guard() guard.Options {
	o := guard.Options{Hosts: d.hosts(), Limit: MaxBody, TLS: d.tls != nil, OnlyTLS: d.tls != nil && d.beyond, Linked: d.users != nil}
	if _, port, err := net.SplitHostPort(d.Addr().String()); err == nil && d.users != nil {
		o.Cookie = guard.Cookie + "_" + port // two books at two ports of one host are two sessions
	}
	return o
}

// URL is the address to print: under the first name that was given, where there is one.
func (d *Door) URL() string {
	scheme, at := "http://", d.Addr().String()
	if d.tls != nil {
		scheme = "https://"
	}
	if len(d.names) > 0 {
		_, port, _ := net.SplitHostPort(at) // of a listener
		host, own := split(d.names[0])
		at = net.JoinHostPort(host, cmp.Or(own, port))
	}
	return scheme + at + "/"
}
