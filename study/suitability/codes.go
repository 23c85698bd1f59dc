package suitability

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"

	"flourcast/dataset/labbook"
	"flourcast/study/book"
)

// coder names lots so that nobody outside can read the name: R and six letters and digits of
// an HMAC-SHA-256 of the name (RFC 2104) under the hash of the book's first row. The
// same lot has the same code on every sheet of a book and of its backups, and another
// one in another book. Whoever has the book can work the codes out.
type coder struct{ key []byte }

func newCoder(ctx context.Context, b *book.Book) (coder, error) {
	var first labbook.Row
	err := b.Store.Read(ctx, func(v *labbook.View) (err error) {
		first, err = v.First(labbook.Filter{IDs: []int64{1}, Superseded: true, Bare: true})
		return err
	})
	return coder{[]byte(first.SHA256)}, err
}

// letters are digits and letters that nobody takes for one another.
var letters = base32.NewEncoding("23456789ABCDEFGHJKLMNPQRSTUVWXYZ").WithPadding(base32.NoPadding)

func (c coder) of(lot string) string {
	h := hmac.New(sha256.New, c.key)
	h.Write([]byte(lot))
	return "R" + letters.EncodeToString(h.Sum(nil))[:6]
}

// coded gives a lot's code and notes it in the result.
func (m *maker) coded(lot string) string {
	code := m.code.of(lot)
	for _, c := range m.res.Codes {
		if c.Lot == lot {
			return code
		}
	}
	m.res.Codes = append(m.res.Codes, Coded{lot, code})
	return code
}
