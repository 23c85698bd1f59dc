package people

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"flourcast/dataset/tomlfile"
)

const phrase = "correct horse battery"

// three is a roll of one user of each role.
func three(t testing.TB) *Roll {
	t.Helper()
	r, err := Parse("users.toml", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, u := range []struct {
		name string
		role Role
	}{{"Rita Reader", Reader}, {"Tom", Technician}, {"Sven", Scientist}} {
		if err := r.Add(u.name, u.role, phrase+" of "+u.name, light); err != nil {
			t.Fatal(err)
		}
	}
	r.settle()
	return r
}

func TestRoll(t *testing.T) {
	data, err := three(t).Encode()
	if err != nil {
		t.Fatal(err)
	}
	r, err := Parse("users.toml", data)
	if err != nil {
		t.Fatal(err)
	}
	if u, ok := r.Check("rita  READER", phrase+" of Rita Reader"); !ok || u.Name != "Rita Reader" || u.Role != Reader {
		t.Errorf("her own name in another spelling: found %v, %v", u, ok)
	}
	for _, c := range [][2]string{{"Tom", phrase + " of Sven"}, {"Tom", ""}, {"nobody", phrase + " of Tom"}, {"", ""}, {strings.Repeat("x", 5000), "x"}} {
		if u, ok := r.Check(c[0], c[1]); ok {
			t.Errorf("%.20q with %q: found %v", c[0], c[1], u)
		}
	}
	mark := r.users[1].Mark()
	for _, err := range []error{r.SetRole("tom", Scientist), r.SetPassword("Tom", "another phrase of Tom", light), r.Remove("RITA READER"), r.Add("Rita Reader", Technician, phrase+" of hers", light)} {
		if err != nil {
			t.Error(err)
		}
	}
	tom, ok := r.Check("Tom", "another phrase of Tom")
	if !ok || tom.Role != Scientist || tom.Mark() == mark {
		t.Errorf("Tom afterwards: found %v, %v", tom, ok)
	}
	if rita, ok := r.Find("Rita Reader"); !ok || rita.Role != Technician || len(r.Users()) != 3 {
		t.Errorf("Rita anew: found %v, %v", rita, ok)
	}
	for name, err := range map[string]error{
		"taken": r.Add("TOM", Reader, phrase+" of Tom", light), "no name": r.Add("<>", Reader, phrase+" of Tom", light), "no role": r.Add("Eve", "owner", phrase+" of Eve", light),
		"short": r.Add("Eve", Reader, "short", light), "nobody's role": r.SetRole("Eve", Reader), "nobody's password": r.SetPassword("Eve", phrase, light), "nobody": r.Remove("Eve"),
		"role that is none": r.SetRole("Tom", ""), "short again": r.SetPassword("Tom", "short", light),
	} {
		var refused *Refusal
		if !errors.As(err, &refused) || refused.Want == "" {
			t.Errorf("%s: found %v, expected a refusal that says what was expected", name, err)
		}
	}
}

// TestUnknownTakesTheSameWork: a name that nobody has is checked at the cost that users
// have, against a hash that nothing fits.
func TestUnknownTakesTheSameWork(t *testing.T) {
	r := three(t)
	if r.blank.cost != light || len(r.blank.tag) != tagSize || bytes.Equal(r.blank.tag, r.users[0].hash.tag) {
		t.Errorf("found %+v, expected the cost %+v", r.blank, light)
	}
	empty, err := Parse("users.toml", nil)
	if err != nil || empty.blank.cost != Today {
		t.Errorf("without users: found %+v, %v; expected %+v", empty.blank.cost, err, Today)
	}
}

func TestParseSaysWhere(t *testing.T) {
	h := "$argon2id$v=19$m=64,t=1,p=1$MDEyMzQ1Njc4OWFiY2RlZg$PUGx5p/A2PcRWuxvFtMxwQCDYZez4k4DXivWga5vJiU"
	anna := "# who\n[[user]]\nname = \"anna\"\nrole = \"reader\"\npassword = '" + h + "'\n"
	ben := strings.ReplaceAll(strings.TrimPrefix(anna, "# who\n"), "anna", "ben")
	if r, err := Parse("u", []byte(anna+ben)); err != nil || len(r.Users()) != 2 {
		t.Fatalf("found %v", err)
	}
	for name, c := range map[string]struct {
		text string
		line int
		want string
	}{
		"no TOML":          {anna + "[[user\n", 6, ""},
		"unknown key":      {anna + ben + "admin = true\n", 10, "unknown key"},
		"unknown table":    {anna + "[server]\n", 6, "unknown key"},
		"no role":          {anna + strings.Replace(ben, "role = \"reader\"\n", "", 1), 6, `role ""`},
		"another role":     {anna + strings.Replace(ben, "reader", "owner", 1), 8, `role "owner"`},
		"role of a number": {anna + strings.Replace(ben, `"reader"`, "1", 1), 8, ""},
		"a plain password": {anna + strings.Replace(ben, h, "correct horse battery", 1), 9, "no Argon2id hash"},
		"no name":          {strings.Replace(anna, "anna", "", 1) + ben, 3, "the name"},
		"same name":        {anna + strings.Replace(ben, "ben", "ANNA", 1), 7, "which anna has"},
	} {
		_, err := Parse("u.toml", []byte(c.text))
		var bad *tomlfile.Error
		if !errors.As(err, &bad) || bad.File != "u.toml" || bad.Line != c.line || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: found %v, expected line %d and %q", name, err, c.line, c.want)
		}
		if err != nil && strings.Contains(err.Error(), "horse") {
			t.Errorf("%s: the password is in the message", name)
		}
	}
}

// FuzzParse: whatever is in the file, it is refused or read; what is read is written and
// read back as it was, with no two users of one name.
func FuzzParse(f *testing.F) {
	data, err := three(f).Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(data)
	f.Add([]byte("user = [{name = 'a', role = 'reader', password = ''}]"))
	f.Add([]byte("[[user]]\nname = \"\\u0000\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Parse("users.toml", data)
		if err != nil {
			return
		}
		again, err := r.Encode()
		if err != nil {
			t.Fatal(err)
		}
		back, err := Parse("users.toml", again)
		if err != nil || len(back.users) != len(r.users) {
			t.Fatalf("read back: %v, %d users of %d", err, len(back.users), len(r.users))
		}
		for i, u := range r.users {
			if v := back.users[i]; v.Name != u.Name || v.Role != u.Role || v.Mark() != u.Mark() {
				t.Errorf("user %d: found %v, expected %v", i, v, u)
			}
			if v, ok := r.Find(u.Name); !ok || v.Name != u.Name {
				t.Errorf("user %d is not found under %q", i, u.Name)
			}
		}
	})
}
