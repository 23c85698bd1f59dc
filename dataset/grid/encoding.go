package grid

import (
	"bytes"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// The encodings that are read, by the names that import maps use.
const (
	UTF8        = "utf-8"
	UTF16LE     = "utf-16le"
	UTF16BE     = "utf-16be"
	Windows1252 = "windows-1252"
)

// decode turns a file's bytes into text without a byte order mark. declared is
// one of the names above, or empty: then a byte order mark decides, then zero
// bytes at every other place (UTF-16), then whether the bytes are valid UTF-8;
// what is left is Windows-1252. sure is false when bytes had no meaning in the
// encoding and were replaced by U+FFFD.
func decode(data []byte, declared string) (text, name string, sure bool) {
	var d encoding.Encoding
	switch declared {
	case "":
		return decode(data, detect(data))
	case UTF8:
		data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
		if utf8.Valid(data) {
			return string(data), "UTF-8", true
		}
		return strings.ToValidUTF8(string(data), "\ufffd"), "UTF-8", false
	case UTF16LE:
		d, name = unicode.UTF16(unicode.LittleEndian, unicode.UseBOM), "UTF-16LE"
	case UTF16BE:
		d, name = unicode.UTF16(unicode.BigEndian, unicode.UseBOM), "UTF-16BE"
	default:
		d, name = charmap.Windows1252, "windows-1252"
	}
	out, err := d.NewDecoder().Bytes(data)
	return string(out), name, err == nil && !bytes.ContainsRune(out, utf8.RuneError)
}

func detect(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")):
		return UTF16LE
	case bytes.HasPrefix(data, []byte("\xfe\xff")):
		return UTF16BE
	}
	// Western text in UTF-16 has a zero byte in nearly every unit: the second
	// one in little-endian order, the first one in big-endian order.
	head := data[:min(len(data), 4096)&^1]
	var zero [2]int
	for i, b := range head {
		if b == 0 {
			zero[i&1]++
		}
	}
	half := len(head) / 2
	switch {
	case half > 0 && zero[1]*2 > half && zero[0] == 0:
		return UTF16LE
	case half > 0 && zero[0]*2 > half && zero[1] == 0:
		return UTF16BE
	case utf8.Valid(data):
		return UTF8
	}
	return Windows1252
}
