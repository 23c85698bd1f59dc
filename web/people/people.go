// Package people knows who may use a bench that others can reach, and as what.
//
//  1. A Role is what somebody may do; each role may what the ones before it may.
//  2. A Roll is the users of one TOML file. Passwords are in it as Argon2id hashes only.
//  3. Read and Edit keep the file: mode 0600 or refused, replaced whole, never halfway.
//  4. A Source is a file that is read again when it changes; With and From carry a user
//     along with a request.
//
// It knows no page, session or cookie. A file that it does not understand in full is
// refused, so that nobody is let in by a slip.
package people

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/secure/precis"
)

// Role is what a user may do.
type Role string

// The roles, the least first.
const (
	Reader     Role = "reader"     // reads and prints
	Technician Role = "technician" // also adds files, corrects, forecasts, writes down what was done with a lot
	Scientist  Role = "scientist"  // also fits models and changes specifications
)

// Roles are all roles, the least first.
func Roles() []Role { return []Role{Reader, Technician, Scientist} }

// May reports whether the role is at least another. A role that is none may nothing.
func (r Role) May(least Role) bool {
	all := Roles()
	own, need := slices.Index(all, r), slices.Index(all, least)
	return own >= 0 && need >= 0 && own >= need
}

// User is one user. Name is as it shall stand in the lab book.
type User struct {
	Name string
	Role Role
	hash hash
}

// Mark changes when the user's password is set anew. It tells nothing of the password.
func (u User) Mark() string { return u.hash.String() }

// Older reports that the password was hashed at a cost below today's.
func (u User) Older() bool {
	return u.hash.cost.MemoryKiB < Today.MemoryKiB || u.hash.cost.Passes < Today.Passes
}

// Refusal says why something asked for is not done.
type Refusal struct{ Found, Want, Do string }

func (e *Refusal) Error() string {
	text := "found " + e.Found + "; expected " + e.Want
	if e.Do != "" {
		text += "; " + e.Do
	}
	return text
}

// ParseRole reads a role.
func ParseRole(text string) (Role, error) {
	if r := Role(text); slices.Contains(Roles(), r) {
		return r, nil
	}
	return "", &Refusal{Found: fmt.Sprintf("role %q", text), Want: "reader, technician or scientist"}
}

// longestName is how many characters a name may have.
const longestName = 80

// key is what two names have in common that are the same to people: by RFC 8266
// without regard to case, width and the number of blanks.
func key(name string) (string, error) { return precis.Nickname.CompareKey(name) }

// cleanName is the name as it is kept: by RFC 8266 without blanks around it and with
// single ones in it.
func cleanName(name string) (string, error) {
	wrong := &Refusal{Found: fmt.Sprintf("the name %.100q", name), Want: fmt.Sprintf("1 to %d letters, digits, blanks and any of - _ . '", longestName)}
	if len(name) > 4*longestName {
		return "", wrong
	}
	clean, err := precis.Nickname.String(name)
	if err != nil || utf8.RuneCountInString(clean) > longestName {
		return "", wrong
	}
	for _, r := range clean {
		if !unicode.IsLetter(r) && !unicode.IsMark(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" -_.'", r) {
			return "", wrong
		}
	}
	if strings.HasPrefix(clean, "-") {
		return "", wrong // a command line would take it for a flag
	}
	return clean, nil
}

type inContext struct{}

// With is the context of what a user asked for.
func With(ctx context.Context, u User) context.Context { return context.WithValue(ctx, inContext{}, u) }

// From is the user who asked; ok is false where nobody signed in.
func From(ctx context.Context) (u User, ok bool) {
	u, ok = ctx.Value(inContext{}).(User)
	return u, ok
}
