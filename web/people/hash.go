package people

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/secure/precis"
)

// Cost is the work of one hash: memory in KiB, passes over it, lanes side by side.
type Cost struct {
	MemoryKiB, Passes uint32
	Lanes             uint8
}

// Today is the cost of a new hash: the second of the two choices that RFC 9106
// (section 4) recommends, for machines that cannot spare 2 GiB: 64 MiB, 3 passes, 4 lanes.
var Today = Cost{MemoryKiB: 64 << 10, Passes: 3, Lanes: 4}

// Sizes of a new hash, in bytes (RFC 9106, section 4), and what is read. More memory or
// passes than these are refused, for each sign-in would take them.
const (
	saltSize, tagSize = 16, 32
	leastSalt         = 8  // PHC string format
	mostSalt          = 48 // PHC string format
	leastTag          = 16 // 128 bits; the PHC string format has 12 bytes
	mostTag           = 64 // PHC string format
	mostMemoryKiB     = 1 << 18
	mostPasses        = 16
	mostLanes         = 16
)

// hash is an Argon2id hash of a password.
type hash struct {
	cost      Cost
	salt, tag []byte
}

var b64 = base64.RawStdEncoding.Strict()

// String is the hash in the PHC string format, Argon2 version 1.3 (19).
func (h hash) String() string {
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, h.cost.MemoryKiB, h.cost.Passes, h.cost.Lanes, b64.EncodeToString(h.salt), b64.EncodeToString(h.tag))
}

var phc = regexp.MustCompile(`^\$argon2id\$v=19\$m=([1-9]\d{0,9}),t=([1-9]\d{0,9}),p=([1-9]\d{0,2})\$([A-Za-z0-9+/]+)\$([A-Za-z0-9+/]+)$`)

// parseHash reads the PHC string format: the one spelling that String writes, within
// the sizes above.
func parseHash(text string) (h hash, err error) {
	m := phc.FindStringSubmatch(text)
	if m == nil {
		return h, errors.New("no Argon2id hash ($argon2id$v=19$m=…,t=…,p=…$salt$hash)")
	}
	var figures [3]uint64
	for i := range figures {
		if figures[i], err = strconv.ParseUint(m[i+1], 10, 32); err != nil {
			return h, errors.New("a cost that no machine can pay")
		}
	}
	memory, passes, lanes := figures[0], figures[1], figures[2]
	if memory > mostMemoryKiB || passes > mostPasses || lanes > mostLanes || memory < 8*lanes {
		return h, fmt.Errorf("a cost of m=%d,t=%d,p=%d, with m at most %d and at least 8 times p, t and p at most %d and %d", memory, passes, lanes, mostMemoryKiB, mostPasses, mostLanes)
	}
	h.cost = Cost{uint32(memory), uint32(passes), uint8(lanes)}
	if h.salt, err = b64.DecodeString(m[4]); err != nil || len(h.salt) < leastSalt || len(h.salt) > mostSalt {
		return h, fmt.Errorf("a salt that is not of %d to %d bytes in base64 without padding", leastSalt, mostSalt)
	}
	if h.tag, err = b64.DecodeString(m[5]); err != nil || len(h.tag) < leastTag || len(h.tag) > mostTag {
		return h, fmt.Errorf("a hash that is not of %d to %d bytes in base64 without padding", leastTag, mostTag)
	}
	return h, nil
}

// newHash hashes a password under a salt of its own.
func newHash(password string, cost Cost) (hash, error) {
	plain, err := precis.OpaqueString.String(password)
	if err != nil {
		return hash{}, &Refusal{Found: "a password with signs that cannot be told apart", Want: "letters, digits, blanks and signs"}
	}
	h := hash{cost: cost, salt: random(saltSize)}
	h.tag = argon2.IDKey([]byte(plain), h.salt, cost.Passes, cost.MemoryKiB, cost.Lanes, tagSize)
	return h, nil
}

// random is n random bytes. crypto/rand ends the program rather than give others.
func random(n int) []byte {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails, by its documentation
	return b
}

// fits reports whether a password is the one that was hashed. It takes the same work
// whatever the password is, and compares in constant time.
func (h hash) fits(password string) bool {
	plain, err := precis.OpaqueString.String(password) // RFC 8265: the same letters from every keyboard
	tag := argon2.IDKey([]byte(plain), h.salt, h.cost.Passes, h.cost.MemoryKiB, h.cost.Lanes, uint32(len(h.tag)))
	return subtle.ConstantTimeCompare(tag, h.tag) == 1 && err == nil
}

// standIn is a hash of the same cost that no password fits: the work of a sign-in
// under a name that nobody has.
func (h hash) standIn() hash { return hash{h.cost, random(saltSize), random(tagSize)} }

// Lengths of a new password, in characters. NIST SP 800-63B-4 (2025), section 3.1.1.2,
// asks for 15 where the password is all that is asked for, allows 64 at least, and
// forbids rules on kinds of signs.
const (
	LeastPassword = 15
	MostPassword  = 200
	fewest        = 5 // different characters; common practice, no source
)

// checkPassword refuses passwords that are guessed first.
func checkPassword(name, password string) error {
	want := fmt.Sprintf("%d to %d characters", LeastPassword, MostPassword)
	const do = "take four or five words that do not belong together, or let a password manager choose"
	n := utf8.RuneCountInString(password)
	different := map[rune]bool{}
	for _, r := range password {
		different[r] = true
	}
	switch {
	case !utf8.ValidString(password):
		return &Refusal{Found: "a password that is no text in UTF-8", Want: want}
	case n < LeastPassword || n > MostPassword:
		return &Refusal{Found: fmt.Sprintf("a password of %d characters", n), Want: want, Do: do}
	case len(different) < fewest:
		return &Refusal{Found: fmt.Sprintf("a password of %d different characters", len(different)), Want: fmt.Sprintf("%d or more", fewest), Do: do}
	}
	small := strings.ToLower(password)
	for _, guess := range []string{"flourcast", strings.ToLower(name)} {
		if rest := strings.ReplaceAll(small, guess, ""); utf8.RuneCountInString(rest) < LeastPassword/2 {
			return &Refusal{Found: "a password that is little more than the name of the user or the program", Want: want + " that others do not think of first", Do: do}
		}
	}
	return nil
}
