package treatment

import "strings"

// Permission is what this package has to say of a treated flour in a country.
type Permission string

// Permissions. Unknown is not a permission: the authorities are to be asked.
const (
	NotPermitted Permission = "not permitted"
	Untouched    Permission = "no rule of ours touches it"
	Unknown      Permission = "not known"
)

// union are the countries of the European Union by ISO 3166 code, with their names.
var union = map[string]string{
	"at": "austria", "be": "belgium", "bg": "bulgaria", "hr": "croatia", "cy": "cyprus", "cz": "czechia", "dk": "denmark", "ee": "estonia", "fi": "finland",
	"fr": "france", "de": "germany", "gr": "greece", "hu": "hungary", "ie": "ireland", "it": "italy", "lv": "latvia", "lt": "lithuania", "lu": "luxembourg",
	"mt": "malta", "nl": "netherlands", "pl": "poland", "pt": "portugal", "ro": "romania", "sk": "slovakia", "si": "slovenia", "es": "spain", "se": "sweden",
}

var britain = []string{"gb", "uk", "united kingdom", "great britain", "england", "scotland", "wales", "northern ireland"}

// Abroad says whether flour of a kind may go to a country, given by its name or its
// two-letter code, as far as is known here: chlorine is no permitted flour treatment in
// the European Union (it is not among the additives of Regulation (EC) No 1333/2008)
// and in the United Kingdom (since 1997); both from memory. Untreated and heated flour
// are touched by no rule that is held here. Everything else is Unknown. It replaces no
// look at the rules of the day: the authorities of the country have the last word.
func Abroad(kind Kind, country string) Permission {
	switch kind {
	case None, Heat:
		return Untouched
	case Chlorinated:
		c := strings.ToLower(strings.Join(strings.Fields(country), " "))
		if c == "eu" || c == "european union" || union[c] != "" {
			return NotPermitted
		}
		for _, name := range union {
			if c == name {
				return NotPermitted
			}
		}
		for _, name := range britain {
			if c == name {
				return NotPermitted
			}
		}
	}
	return Unknown
}
