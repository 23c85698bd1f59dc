// Package money holds amounts of money as decimal numbers, in whatever currency the
// user writes: 0.10 added up ten times is 1.00.
//
//  1. Parse reads an amount as a laboratory writes it, with a decimal point or comma.
//  2. Sums, differences and products by decimal numbers are exact (shopspring/decimal);
//     a division is rounded to 10 decimals.
//  3. In JSON an amount is a plain number with all its digits, Text rounds it to two.
//
// A figure that was estimated (a share, a probability) enters by Of, at 12 decimals:
// beyond that it holds nothing. The package refuses amounts that are no decimal number,
// and knows no currency and no exchange rate.
package money

import (
	"fmt"
	"strings"

	"github.com/shopspring/decimal"
)

// Amount is money, or a number that money is multiplied by. The zero value is 0.
type Amount struct{ d decimal.Decimal }

// ParseError says what is no amount.
type ParseError struct{ Found string }

func (e *ParseError) Error() string {
	return fmt.Sprintf("money: found %q, expected a decimal number without a currency, such as 312.50", e.Found)
}

// most is the number of characters that an amount may have: more is no price.
const most = 30

// Parse reads "312.50", or "312,50" where the decimal mark is a comma. Grouping marks,
// exponents and currencies are refused with a *ParseError.
func Parse(text string, mark byte) (Amount, error) {
	plain := strings.TrimSpace(text)
	if mark == ',' {
		plain = strings.Replace(plain, ",", ".", 1)
	}
	if plain == "" || len(plain) > most || strings.Trim(plain, "0123456789.-+") != "" {
		return Amount{}, &ParseError{text}
	}
	d, err := decimal.NewFromString(plain)
	if err != nil {
		return Amount{}, &ParseError{text}
	}
	return Amount{d}, nil
}

// Currency is the currency that a price per tonne is stated in: "EUR", "EUR/t" and "EUR a
// tonne" are EUR. ok is false where another mass is stated: nothing is converted.
func Currency(text string) (currency string, ok bool) {
	currency = strings.TrimSpace(text)
	for _, mass := range []string{" a tonne", " per tonne", "/tonne", " per t", "/t"} {
		if cut, found := strings.CutSuffix(currency, mass); found {
			return strings.TrimSpace(cut), true
		}
	}
	return currency, !strings.Contains(currency, "/") && !strings.Contains(currency, " per ")
}

// Of is an estimated figure at 12 decimals. It panics for NaN and infinities, which no
// checked figure is.
func Of(v float64) Amount { return Amount{decimal.NewFromFloat(v).Round(12)} }

// Whole is a whole number.
func Whole(n int64) Amount { return Amount{decimal.NewFromInt(n)} }

// Plus is exact.
func (a Amount) Plus(b Amount) Amount { return Amount{a.d.Add(b.d)} }

// Minus is exact.
func (a Amount) Minus(b Amount) Amount { return Amount{a.d.Sub(b.d)} }

// Times is exact.
func (a Amount) Times(b Amount) Amount { return Amount{a.d.Mul(b.d)} }

// Over is a/b at 10 decimals; ok is false for b = 0.
func (a Amount) Over(b Amount) (q Amount, ok bool) {
	if b.d.IsZero() {
		return Amount{}, false
	}
	return Amount{a.d.DivRound(b.d, 10)}, true
}

// Round is the amount at so many decimals, halves away from zero.
func (a Amount) Round(decimals int32) Amount { return Amount{a.d.Round(decimals)} }

// Cmp is −1, 0 or 1 as a is less than, equal to or more than b.
func (a Amount) Cmp(b Amount) int { return a.d.Cmp(b.d) }

// Sign is −1, 0 or 1.
func (a Amount) Sign() int { return a.d.Sign() }

// Float is the nearest binary number, for pictures and for the solver: never to be
// added up.
func (a Amount) Float() float64 { return a.d.InexactFloat64() }

// Text is the amount at two decimals, with a true minus sign.
func (a Amount) Text() string { return strings.Replace(a.d.StringFixed(2), "-", "−", 1) }

// String is the amount with all its digits.
func (a Amount) String() string { return a.d.String() }

// MarshalJSON writes a plain number.
func (a Amount) MarshalJSON() ([]byte, error) { return []byte(a.d.String()), nil }

// UnmarshalJSON reads one.
func (a *Amount) UnmarshalJSON(data []byte) error {
	d, err := decimal.NewFromString(string(data))
	if err != nil {
		return &ParseError{string(data)}
	}
	a.d = d
	return nil
}
