package web

import (
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"runtime"
	"sync"
	"time"
)

// certificate reads certificate and key, and holds them against the names and the day.
func (r Reach) certificate(names []string, now time.Time) (*tls.Certificate, error) {
	if info, err := os.Stat(r.Key); err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o007 != 0 {
		return nil, &ListenError{Found: fmt.Sprintf("the key %s with mode %04o, so that everybody can read it", r.Key, info.Mode().Perm()&fs.ModePerm), Want: "mode 0600, or 0640 for a group that keeps keys", Do: "chmod 600 " + r.Key}
	}
	pair, err := tls.LoadX509KeyPair(r.Certificate, r.Key)
	if err != nil {
		return nil, &ListenError{Found: fmt.Sprintf("%s with %s: %v", r.Certificate, r.Key, err), Want: "a certificate and its key in PEM", Do: "ask whoever issued them"}
	}
	leaf := pair.Leaf
	if leaf == nil {
		if leaf, err = x509.ParseCertificate(pair.Certificate[0]); err != nil {
			return nil, err
		}
	}
	if now.Before(leaf.NotBefore) || now.After(leaf.NotAfter) {
		return nil, &ListenError{Found: fmt.Sprintf("%s, valid from %s to %s", r.Certificate, leaf.NotBefore.Format(time.DateOnly), leaf.NotAfter.Format(time.DateOnly)), Want: "a certificate that is valid today, " + now.Format(time.DateOnly), Do: "have it renewed, or mend the clock"}
	}
	for _, name := range names {
		host, _ := split(name)
		if err := leaf.VerifyHostname(host); err != nil {
			return nil, &ListenError{Found: fmt.Sprintf("%s: %v", r.Certificate, err), Want: "a certificate for every --host", Do: "have one issued for " + host + ", or leave that name out"}
		}
	}
	return &pair, nil
}

// renewed is a certificate that is read again when its file changes.
type renewed struct {
	path string
	read func() (*tls.Certificate, error)
	log  *slog.Logger // nil until the server runs

	mu   sync.Mutex
	seen fs.FileInfo
	pair *tls.Certificate
	told string // the fault that was told last
}

// look reads the certificate where its file is another than before.
func (c *renewed) look() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	now, err := os.Stat(c.path)
	if err == nil && c.seen != nil && os.SameFile(c.seen, now) && c.seen.ModTime().Equal(now.ModTime()) && c.seen.Size() == now.Size() {
		return nil
	}
	pair, err := c.read() // says what is wrong with a file that is not there, too
	if err != nil {
		return err
	}
	c.pair, c.seen = pair, now
	return nil
}

// get is for tls.Config. While a new certificate is not fit, such as before its key is
// there, the old one serves.
func (c *renewed) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	err := c.look()
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case err == nil:
		c.told = ""
	case c.log != nil && c.told != err.Error():
		c.told = err.Error()
		c.log.Error("the certificate changed and is not fit; the one before goes on serving", "err", err)
	}
	return c.pair, nil
}
