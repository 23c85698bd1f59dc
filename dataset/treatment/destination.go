package treatment

import (
	"slices"
	"strings"
)

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

// elsewhere are further countries that do not permit a treatment.
var elsewhere = map[Kind][]string{Bromated: {"ca", "canada", "in", "india"}}

// Abroad says whether flour of a kind may go to a country, given by its name or its
// two-letter code, as far as is known here:
//
//   - chlorine is no permitted flour treatment in the European Union (it is not among
//     the additives of Regulation (EC) No 1333/2008) and in the United Kingdom (since
//     1997); both from memory;
//   - potassium bromate is none in the United Kingdom (The Potassium Bromate (Prohibition
//     as a Flour Improver) Regulations 1990), in Canada (not in Health Canada's List of
//     Permitted Flour Treatment Agents of 2024-12-18), in India (notice of the Food
//     Safety and Standards Authority, June 2016) and in the European Union (Regulation
//     (EC) No 1333/2008 again, from memory).
//
// Untreated and heated flour are touched by no rule that is held here. Everything else
// is Unknown: of benzoyl peroxide and azodicarbonamide, for one, lists at hand say only
// where they are permitted. It replaces no look at the rules of the day: the authorities
// of the country have the last word.
func Abroad(kind Kind, country string) Permission {
	if kind == None || kind == Heat {
		return Untouched
	}
	c := strings.ToLower(strings.Join(strings.Fields(country), " "))
	if (kind == Chlorinated || kind == Bromated) && inUnion(c) || slices.Contains(elsewhere[kind], c) {
		return NotPermitted
	}
	return Unknown
}

// inUnion reports whether a country, in small letters, is of the European Union or of the
// United Kingdom.
func inUnion(country string) bool {
	if country == "eu" || country == "european union" || union[country] != "" || slices.Contains(britain, country) {
		return true
	}
	for _, name := range union {
		if country == name {
			return true
		}
	}
	return false
}
