package people

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// light is the cost of hashes in tests.
var light = Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}

// reference are hashes by the reference implementation of Argon2, in C (testdata/argon2.py).
var reference = map[string]string{
	"$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc":            "password",
	"$argon2id$v=19$m=65536,t=3,p=4$MDEyMzQ1Njc4OWFiY2RlZg$0lObt59WkoTskSWvP1ZHL/zgXZceg/aaDRX6RXrUwyw": "four words make one",
	"$argon2id$v=19$m=64,t=1,p=1$MDEyMzQ1Njc4OWFiY2RlZg$PUGx5p/A2PcRWuxvFtMxwQCDYZez4k4DXivWga5vJiU":    "four words make one",
	"$argon2id$v=19$m=256,t=2,p=2$MDEyMzQ1Njc4OWFiY2RlZg$gccip3j3e1lvhEsXKuJixvX2KSlua5lv":              "Käse und Brot zum Frühstück",
}

func TestReferenceHashes(t *testing.T) {
	for text, password := range reference {
		h, err := parseHash(text)
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
		if h.String() != text {
			t.Errorf("written again: found %s, expected %s", h, text)
		}
		if !h.fits(password) {
			t.Errorf("%s: %q does not fit", text, password)
		}
		if h.fits(password+" ") || h.fits("") || h.standIn().fits(password) {
			t.Errorf("%s: something else fits", text)
		}
	}
}

// TestKeyboards: letters that one keyboard sends in one piece and another in two are the
// same (RFC 8265, section 4.2).
func TestKeyboards(t *testing.T) {
	h, err := newHash("Käse und Brot zum Fru\u0308hstück", light)
	if err != nil || !h.fits("Ka\u0308se und Brot\u00a0zum Frühstück") {
		t.Errorf("the same letters do not fit: %v", err)
	}
	if _, err := newHash("tab\tand bell\x07 in the password", light); err == nil {
		t.Error("control characters were taken")
	}
}

func TestHashRefuses(t *testing.T) {
	good := "$argon2id$v=19$m=64,t=1,p=1$MDEyMzQ1Njc4OWFiY2RlZg$PUGx5p/A2PcRWuxvFtMxwQCDYZez4k4DXivWga5vJiU"
	if _, err := parseHash(good); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string][2]string{
		"another function": {"argon2id", "argon2i"}, "another version": {"v=19", "v=16"}, "no version": {"v=19$", ""},
		"a leading zero": {"m=64", "m=064"}, "no memory": {"m=64", "m=7"}, "too much memory": {"m=64", "m=4194304"}, "more than 32 bits": {"m=64", "m=9999999999"},
		"no pass": {"t=1", "t=0"}, "many passes": {"t=1", "t=400"}, "no lane": {"p=1", "p=0"}, "many lanes": {"p=1", "p=200"}, "another order": {"m=64,t=1", "t=1,m=64"},
		"short salt": {"MDEyMzQ1Njc4OWFiY2RlZg", "MDEy"}, "padding": {"$PUG", "=$PUG"}, "short hash": {"PUGx5p/A2PcRWuxvFtMxwQCDYZez4k4DXivWga5vJiU", "PUGx5p"},
		"loose bits": {"vJiU", "vJiV"}, "a line more": {"vJiU", "vJiU\n"}, "nothing": {good, ""},
	} {
		if h, err := parseHash(strings.Replace(good, c[0], c[1], 1)); err == nil {
			t.Errorf("%s: taken as %s", name, h)
		}
	}
}

// TestHashRoundTrip: what newHash writes is read back, fits, and no two are the same.
func TestHashRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		password := rapid.StringMatching(`[ -~]{1,40}`).Draw(t, "password")
		a, err := newHash(password, light)
		if err != nil {
			t.Fatal(err)
		}
		b, err := newHash(password, light)
		if err != nil || a.String() == b.String() {
			t.Errorf("two hashes are the same: %v", err)
		}
		back, err := parseHash(a.String())
		if err != nil || back.String() != a.String() || !back.fits(password) || back.fits(password+"x") {
			t.Errorf("%q: %v", password, err)
		}
	})
}

func TestPasswordRules(t *testing.T) {
	for password, want := range map[string]string{
		"correct horse battery":     "",
		"Käse, Brot, Frühstück":     "",
		"14 characters.":            "15 to 200 characters",
		strings.Repeat("x1y2z", 41): "15 to 200 characters",
		"aaaaaaaaaaaaaaaabbb":       "different",
		"Anna12AnnaAnna!Anna":       "name of the user",
		"flourcastflourcast":        "name of the user",
		"\xff\xfe not UTF-8 at all": "UTF-8",
	} {
		err := checkPassword("anna", password)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: found %v, expected %q", password, err, want)
		}
	}
}

// BenchmarkHash is one sign-in.
func BenchmarkHash(b *testing.B) {
	h, err := newHash("correct horse battery", Today)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		h.fits("correct horse battery")
	}
}
