package web

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io/fs"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"flourcast/study/bookkeeping"
	"flourcast/web/guard"
)

// issue writes a certificate that signs itself, and its key, for some names.
func issue(t *testing.T, from, to time.Time, names ...string) (cert, key string, roots *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "a test"}, NotBefore: from, NotAfter: to, DNSNames: names,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, form, form, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	cert, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	text := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	for path, text := range map[string][]byte{cert: text, key: pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})} {
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	roots = x509.NewCertPool()
	roots.AppendCertsFromPEM(text)
	return cert, key, roots
}

// thisYear is the validity of certificates by the clock of the tests.
func thisYear() (from, to time.Time) {
	now := env().Clock()
	return now.AddDate(0, -1, 0), now.AddDate(1, 0, 0)
}

// TestTLS: a bench that listens at every address, met by a browser that knows it by its
// name and trusts its certificate.
func TestTLS(t *testing.T) {
	from, to := thisYear()
	cert, key, roots := issue(t, from, to, "bench.example")
	dir := filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	b := served(t, Reach{Address: "0.0.0.0:0", Certificate: cert, Key: key, Users: roll(t), Hosts: []string{"Bench.Example"}}, offered(dir))
	at, err := url.Parse(b.base)
	if err != nil || at.Scheme != "https" || at.Hostname() != "bench.example" {
		t.Fatalf("address: found %s, %v", b.base, err)
	}
	here := net.JoinHostPort("127.0.0.1", at.Port())
	tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Time: env().Clock}, ForceAttemptHTTP2: true, DialContext: func(ctx context.Context, network, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, network, here)
	}}
	t.Cleanup(tr.CloseIdleConnections)
	b.Transport = tr
	one := b.fresh()
	r, _ := one.ask("GET", "/lots", nil)
	if r.StatusCode != 303 || r.TLS == nil || r.TLS.Version != tls.VersionTLS13 || r.Header.Get("Strict-Transport-Security") != "max-age=2592000" {
		t.Errorf("found %d, %+v, HSTS %q; expected the sign-in by TLS 1.3", r.StatusCode, r.TLS, r.Header.Get("Strict-Transport-Security"))
	}
	r, _ = one.sign("Tom", passwordOf("Tom"), "/lots")
	if r.StatusCode != 303 || r.Header.Get("Location") != "/lots" {
		t.Fatalf("signing in: found %d", r.StatusCode)
	}
	c := r.Cookies()[0]
	if c.Name != "__Host-"+guard.Cookie+"_"+at.Port() || !c.Secure || !c.HttpOnly || c.SameSite != http.SameSiteLaxMode || c.Path != "/" || c.Domain != "" {
		t.Errorf("cookie: found %+v, expected __Host-, Secure, HttpOnly, SameSite=Lax", c)
	}
	if r, body := one.ask("GET", "/lots", nil); r.StatusCode != 200 || !strings.Contains(body, "Signed in: <b>Tom</b>") {
		t.Errorf("signed in: found %d", r.StatusCode)
	}
	if r, _ := one.ask("POST", "/logout", url.Values{}, "Origin", "http://"+at.Host); r.StatusCode != 403 {
		t.Errorf("a form from a page without encryption: found %d, expected 403", r.StatusCode)
	}

	for version, want := range map[uint16]bool{tls.VersionTLS10: false, tls.VersionTLS11: false, tls.VersionTLS12: true, tls.VersionTLS13: true} {
		c, err := tls.Dial("tcp", here, &tls.Config{RootCAs: roots, Time: env().Clock, ServerName: "bench.example", MinVersion: version, MaxVersion: version})
		if (err == nil) != want {
			t.Errorf("%s: found %v, expected it taken: %v", tls.VersionName(version), err, want)
		}
		if err == nil {
			c.Close()
		}
	}
	if r, err := http.Get("http://" + here + "/login"); err != nil || r.StatusCode != 400 {
		t.Errorf("without encryption: found %v, %v; expected 400", r, err)
	} else {
		r.Body.Close()
	}
	for _, host := range []string{here, "localhost:" + at.Port(), "mill.example", "bench.example"} {
		r, err := http.NewRequest("GET", b.base+"/login", nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Host = host
		answer, err := one.Do(r)
		if err != nil || answer.StatusCode != 403 {
			t.Errorf("under the name %s: found %v, %v; expected 403", host, answer, err)
		}
		if err == nil {
			answer.Body.Close()
		}
	}
}

// TestCertificateRenewed: a new certificate serves from the next visit on, without a
// restart; until it is fit, the old one does.
func TestCertificateRenewed(t *testing.T) {
	from, to := thisYear()
	cert, key, roots := issue(t, from, to, "bench.example")
	dir := filepath.Join(t.TempDir(), "book")
	if _, err := bookkeeping.Init(context.Background(), dir); err != nil {
		t.Fatal(err)
	}
	b := served(t, Reach{Address: "127.0.0.1:0", Certificate: cert, Key: key, Hosts: []string{"bench.example"}}, offered(dir))
	at, err := url.Parse(b.base)
	if err != nil {
		t.Fatal(err)
	}
	meet := func(roots *x509.CertPool) error {
		c, err := tls.Dial("tcp", "127.0.0.1:"+at.Port(), &tls.Config{RootCAs: roots, Time: env().Clock, ServerName: "bench.example"})
		if err == nil {
			err = c.Close()
		}
		return err
	}
	put := func(from, to string) {
		t.Helper()
		data, err := os.ReadFile(from)
		if err == nil {
			err = os.WriteFile(to+".new", data, 0o600)
		}
		if err == nil {
			err = os.Rename(to+".new", to)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	newCert, newKey, newRoots := issue(t, from, to, "bench.example")
	if err := meet(roots); err != nil {
		t.Fatal(err)
	}
	put(newCert, cert)
	if err := meet(roots); err != nil {
		t.Errorf("between certificate and key: found %v, expected the old one", err)
	}
	put(newKey, key)
	if err := meet(newRoots); err != nil {
		t.Errorf("renewed: found %v", err)
	}
	if err := meet(roots); err == nil {
		t.Error("the old one still serves")
	}
	old, oldKey, _ := issue(t, from.AddDate(-2, 0, 0), from, "bench.example")
	put(old, cert)
	put(oldKey, key)
	if err := meet(newRoots); err != nil {
		t.Errorf("renewed by one that ended: found %v, expected the one before", err)
	}
}

// TestLoopbackTLS: with a certificate on loopback nobody signs in, and browsers are not
// told to remember it: localhost is many servers.
func TestLoopbackTLS(t *testing.T) {
	from, to := thisYear()
	cert, key, roots := issue(t, from, to, "localhost")
	b := served(t, Reach{Address: "127.0.0.1:0", Certificate: cert, Key: key, Hosts: []string{"localhost"}}, offered(t.TempDir()))
	tr := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, Time: env().Clock}}
	t.Cleanup(tr.CloseIdleConnections)
	b.Transport = tr
	r, _ := b.ask("GET", "/add", nil)
	if c := r.Cookies(); r.StatusCode != 200 || r.Header.Get("Strict-Transport-Security") != "" || len(c) != 1 || c[0].Name != "__Host-"+guard.Cookie || !c[0].Secure || c[0].SameSite != http.SameSiteStrictMode {
		t.Errorf("found %d, HSTS %q, cookies %v", r.StatusCode, r.Header.Get("Strict-Transport-Security"), c)
	}
}

// TestReachRefuses: what is missing is named, and what does not go together is said.
func TestReachRefuses(t *testing.T) {
	from, to := thisYear()
	cert, key, _ := issue(t, from, to, "bench.example")
	_, otherKey, _ := issue(t, from, to, "bench.example")
	old, oldKey, _ := issue(t, from.AddDate(-2, 0, 0), from, "bench.example")
	open := filepath.Join(t.TempDir(), "open.pem")
	data, err := os.ReadFile(key)
	if err == nil {
		err = os.WriteFile(open, data, 0o644)
	}
	if err != nil {
		t.Fatal(err)
	}
	users, at, host := roll(t), "0.0.0.0:0", []string{"bench.example"}
	for name, c := range map[string]struct {
		Reach
		want string
		not  string
	}{
		"nothing":            {Reach{Address: at}, "without --tls-cert, --tls-key, --users, --host;", ""},
		"no certificate":     {Reach{Address: at, Key: key, Users: users, Hosts: host}, "without --tls-cert;", "--users"},
		"no key":             {Reach{Address: at, Certificate: cert, Users: users, Hosts: host}, "without --tls-key;", "--users"},
		"no users":           {Reach{Address: at, Certificate: cert, Key: key, Hosts: host}, "without --users;", "--tls-key"},
		"no host":            {Reach{Address: at, Certificate: cert, Key: key, Users: users}, "without --host;", "--users"},
		"a name, and alone":  {Reach{Address: "bench.example:8443"}, "without --tls-cert", ""},
		"every address":      {Reach{Address: ":8443"}, "without --tls-cert", ""},
		"key on loopback":    {Reach{Address: "127.0.0.1:0", Key: key}, "one of --tls-cert and --tls-key", ""},
		"host with a scheme": {Reach{Address: at, Certificate: cert, Key: key, Users: users, Hosts: []string{"https://bench.example"}}, "leave https://", ""},
		"host of any name":   {Reach{Address: at, Certificate: cert, Key: key, Users: users, Hosts: []string{"*"}}, "the host", ""},
		"host at no port":    {Reach{Address: at, Certificate: cert, Key: key, Users: users, Hosts: []string{"bench.example:0"}}, "the host", ""},
		"another name":       {Reach{Address: at, Certificate: cert, Key: key, Users: users, Hosts: append(host, "mill.example")}, "issued for mill.example", ""},
		"another key":        {Reach{Address: at, Certificate: cert, Key: otherKey, Users: users, Hosts: host}, "a certificate and its key in PEM", ""},
		"no such file":       {Reach{Address: at, Certificate: cert + "x", Key: key, Users: users, Hosts: host}, "no such file", ""},
		"ended":              {Reach{Address: at, Certificate: old, Key: oldKey, Users: users, Hosts: host}, "valid today", ""},
		"everybody's key":    {Reach{Address: at, Certificate: cert, Key: open, Users: users, Hosts: host}, "chmod 600 " + open, ""},
	} {
		if name == "everybody's key" && runtime.GOOS == "windows" {
			continue
		}
		door, err := c.Open(env().Clock)
		var refused *ListenError
		if !errors.As(err, &refused) || !strings.Contains(err.Error(), c.want) || c.not != "" && strings.Contains(err.Error(), c.not) {
			t.Errorf("%s: found %v, expected %q", name, err, c.want)
		}
		if door != nil {
			door.Close()
		}
	}
	if _, err := (Reach{Address: at, Certificate: cert, Key: key, Users: cert + ".toml", Hosts: host}).Open(env().Clock); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("no file of users: found %v", err)
	}
}

// TestHosts: the names by which browsers ask, with and without the usual port.
func TestHosts(t *testing.T) {
	for name, c := range map[string]struct {
		Door
		port string
		want string
	}{
		"loopback":     {Door{}, "8080", "localhost:8080 127.0.0.1:8080 127.0.0.1:8080"},
		"port 80":      {Door{}, "80", "localhost:80 localhost 127.0.0.1:80 127.0.0.1 127.0.0.1:80"},
		"TLS":          {Door{beyond: true, tls: &tls.Config{}, names: []string{"bench.example", "10.0.0.3"}}, "8443", "bench.example:8443 10.0.0.3:8443"},
		"TLS at 443":   {Door{beyond: true, tls: &tls.Config{}, names: []string{"bench.example"}}, "443", "bench.example:443 bench.example"},
		"another port": {Door{beyond: true, tls: &tls.Config{}, names: []string{"bench.example:443", "[::1]:8443"}}, "8443", "bench.example:443 bench.example [::1]:8443"},
		"IPv6":         {Door{beyond: true, tls: &tls.Config{}, names: []string{"2001:db8::7"}}, "443", "[2001:db8::7]:443 [2001:db8::7]"},
	} {
		c.Listener = at{net.JoinHostPort("127.0.0.1", c.port)}
		if got := strings.Join(c.hosts(), " "); got != c.want {
			t.Errorf("%s: found %s, expected %s", name, got, c.want)
		}
	}
}

// at is a listener that only has an address.
type at struct{ string }

func (a at) Accept() (net.Conn, error) { return nil, net.ErrClosed }
func (a at) Close() error              { return nil }
func (a at) Addr() net.Addr            { return a }
func (a at) Network() string           { return "tcp" }
func (a at) String() string            { return a.string }
