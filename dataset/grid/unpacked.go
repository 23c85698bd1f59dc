package grid

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"fmt"
	"io"
)

// unpacks unpacks every part of a workbook without keeping it, and refuses one whose
// parts come to more than limit bytes together, by their own account or in truth, or a
// part that holds more than it claims: what a part says of its size is only a claim.
// What is no archive, or breaks off, is left to the reader of workbooks.
func unpacks(data []byte, limit int64) error {
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil
	}
	left := limit
	for _, part := range archive.File {
		if part.UncompressedSize64 > uint64(left) {
			return tooLarge(limit, "by its own account")
		}
		raw, err := part.OpenRaw()
		if err != nil {
			continue
		}
		if part.Method == zip.Deflate {
			raw = flate.NewReader(raw)
		}
		n, _ := io.Copy(io.Discard, io.LimitReader(raw, left+1)) // a part that breaks off is the reader's to tell
		switch left -= n; {
		case left < 0:
			return tooLarge(limit, "and claims less")
		case uint64(n) > part.UncompressedSize64:
			return &Error{Code: "file-damaged", Found: fmt.Sprintf("a workbook whose part %.80q unpacks to %d bytes and claims %d", part.Name, n, part.UncompressedSize64), Want: "parts of the size that they claim",
				Do: "open it in a spreadsheet program and save it anew, or save the sheet as CSV"}
		}
	}
	return nil
}

func tooLarge(limit int64, how string) error {
	return &Error{Code: "file-too-large", Found: fmt.Sprintf("a workbook that is too large when unpacked: more than %d MB, %s", limit>>20, how), Want: fmt.Sprintf("%d MB at most", limit>>20),
		Do: "save the sheet as CSV or split it; do not open it before you know who made it"}
}
