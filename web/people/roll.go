package people

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"flourcast/dataset/tomlfile"

	"github.com/pelletier/go-toml/v2"
)

// Roll is the users of one file. Names are the same without regard to case.
type Roll struct {
	users []User
	byKey map[string]int
	blank hash // what a name that nobody has is checked against
}

// entry is a user as the file has it.
type entry struct {
	Name     string `toml:"name"`
	Role     string `toml:"role"`
	Password string `toml:"password"`
}

type list struct {
	User []entry `toml:"user"`
}

const (
	what = "a TOML file of users, as 'flourcast user add' writes it"
	keys = "[[user]] with name, role and password"
	head = "# Who may use the bench that 'flourcast serve --users' shows, and as what. Written by\n# 'flourcast user'; comments of yours are not kept. password is an Argon2id hash.\n"
)

// Parse reads the users of a file. name stands for it in errors, which are
// *tomlfile.Error with the line.
func Parse(name string, data []byte) (*Roll, error) {
	var l list
	if err := tomlfile.Decode(name, data, &l, what, keys); err != nil {
		return nil, err
	}
	r := &Roll{byKey: map[string]int{}}
	for i, e := range l.User {
		fail := func(field string, err error, cure string) error {
			bad := &tomlfile.Error{File: name, Line: lineOf(data, i, field), Key: field, Found: err.Error(), Cure: cure}
			var refused *Refusal
			if errors.As(err, &refused) {
				bad.Found, bad.Want = refused.Found, refused.Want
			}
			return bad
		}
		clean, err := cleanName(e.Name)
		if err != nil {
			return nil, fail("name", err, "")
		}
		role, err := ParseRole(e.Role)
		if err != nil {
			return nil, fail("role", err, "")
		}
		h, err := parseHash(e.Password)
		if err != nil {
			return nil, fail("password", err, "set it anew with 'flourcast user password'")
		}
		if err := r.add(User{clean, role, h}); err != nil {
			return nil, fail("name", err, "leave one of them out")
		}
	}
	r.settle()
	return r, nil
}

// lineOf is the line that sets a field of the i-th user, or the one that opens the
// user; 0 for files in another form.
func lineOf(data []byte, i int, field string) int {
	opened := 0
	for n, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		if strings.HasPrefix(line, "[[") {
			if i--; i < -1 {
				break
			}
			if i == -1 {
				opened = n + 1
			}
		}
		if name, _, ok := strings.Cut(line, "="); ok && i == -1 && strings.TrimSpace(name) == field {
			return n + 1
		}
	}
	return opened
}

// Encode is the file of the users.
func (r *Roll) Encode() ([]byte, error) {
	var l list
	for _, u := range r.users {
		l.User = append(l.User, entry{u.Name, string(u.Role), u.hash.String()})
	}
	var b bytes.Buffer
	b.WriteString(head)
	if len(l.User) == 0 {
		return b.Bytes(), nil
	}
	b.WriteByte('\n')
	if err := toml.NewEncoder(&b).Encode(l); err != nil {
		return nil, fmt.Errorf("writing the users: %w", err)
	}
	return b.Bytes(), nil
}

// Users are the users in the order of the file.
func (r *Roll) Users() []User { return slices.Clone(r.users) }

// Find is the user of a name.
func (r *Roll) Find(name string) (User, bool) {
	if len(name) > 4*longestName {
		return User{}, false
	}
	k, err := key(name)
	i, ok := r.byKey[k]
	if err != nil || !ok {
		return User{}, false
	}
	return r.users[i], true
}

// Check is the user whom a name and a password belong to. It takes the work of one
// hash, whether there is such a user or not.
func (r *Roll) Check(name, password string) (User, bool) {
	u, known := r.Find(name)
	h := r.blank
	if known {
		h = u.hash
	}
	return u, h.fits(password) && known
}

// settle makes what unknown names are checked against: of the cost of the first user's
// hash, which all have as long as Today stays the same.
func (r *Roll) settle() {
	h := hash{cost: Today}
	if len(r.users) > 0 {
		h = r.users[0].hash
	}
	r.blank = h.standIn()
}

func (r *Roll) add(u User) error {
	k, err := key(u.Name)
	if err != nil {
		return err
	}
	if i, taken := r.byKey[k]; taken {
		return &Refusal{Found: fmt.Sprintf("the name %q, which %s has already", u.Name, r.users[i].Name), Want: "each name once, without regard to case"}
	}
	if r.byKey == nil {
		r.byKey = map[string]int{}
	}
	r.byKey[k] = len(r.users)
	r.users = append(r.users, u)
	return nil
}

// Vacant is the name as it would be kept, when a user of it could be added: a *Refusal
// for a name that is taken or no name, and for a role that is none.
func (r *Roll) Vacant(name string, role Role) (string, error) {
	clean, err := cleanName(name)
	if err == nil {
		_, err = ParseRole(string(role))
	}
	if u, taken := r.Find(clean); err == nil && taken {
		err = &Refusal{Found: fmt.Sprintf("the name %q, which %s has already", clean, u.Name), Want: "a name that nobody has", Do: "see 'flourcast user list'"}
	}
	return clean, err
}

// Add adds a user with a new password, hashed at a cost. Errors: *Refusal as of Vacant,
// and for a password that is too easy.
func (r *Roll) Add(name string, role Role, password string, cost Cost) error {
	clean, err := r.Vacant(name, role)
	if err != nil {
		return err
	}
	if err := checkPassword(clean, password); err != nil {
		return err
	}
	u := User{Name: clean, Role: role}
	if u.hash, err = newHash(password, cost); err != nil {
		return err
	}
	return r.add(u)
}

// at is the place of the user of a name; the error is a *Refusal that names all.
func (r *Roll) at(name string) (int, error) {
	if u, ok := r.Find(name); ok {
		return slices.IndexFunc(r.users, func(v User) bool { return v.Name == u.Name }), nil
	}
	var names []string
	for _, u := range r.users {
		names = append(names, u.Name)
	}
	return 0, &Refusal{Found: fmt.Sprintf("no user %.100q", name), Want: "one of " + strings.Join(names, ", "), Do: "see 'flourcast user list'"}
}

// SetRole gives a user another role.
func (r *Roll) SetRole(name string, role Role) error {
	i, err := r.at(name)
	if err == nil {
		_, err = ParseRole(string(role))
	}
	if err == nil {
		r.users[i].Role = role
	}
	return err
}

// SetPassword gives a user another password, hashed at a cost.
func (r *Roll) SetPassword(name, password string, cost Cost) error {
	i, err := r.at(name)
	if err != nil {
		return err
	}
	if err := checkPassword(r.users[i].Name, password); err != nil {
		return err
	}
	h, err := newHash(password, cost)
	if err == nil {
		r.users[i].hash = h
	}
	return err
}

// Remove takes a user off the roll.
func (r *Roll) Remove(name string) error {
	i, err := r.at(name)
	if err != nil {
		return err
	}
	rest := slices.Delete(r.users, i, i+1)
	r.users, r.byKey = nil, nil
	for _, u := range rest {
		if err := r.add(u); err != nil {
			return err
		}
	}
	return nil
}
