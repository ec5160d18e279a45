package render

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"tidemark/report/view"
)

// sheet writes rows as RFC 4180 has them: CRLF, quotes where they are needed.
type sheet struct {
	w   *csv.Writer
	err error
}

func newSheet(w io.Writer, head ...string) *sheet {
	s := &sheet{w: csv.NewWriter(w)}
	s.w.UseCRLF = true
	s.row(head...)
	return s
}

func (s *sheet) row(cells ...string) {
	if s.err == nil {
		s.err = s.w.Write(cells)
	}
}

func (s *sheet) close() error {
	s.w.Flush()
	if s.err != nil {
		return s.err
	}
	return s.w.Error()
}

// cellName shows a name as one safe line that no spreadsheet runs: a cell that
// begins like a formula gets an apostrophe before it, as OWASP's page on CSV
// injection advises (from memory).
func cellName(raw string) string { return cellText(name(raw)) }

// cellText is cellName for a text whose names are escaped already.
func cellText(text string) string {
	first, _ := utf8.DecodeRuneInString(text)
	if strings.ContainsRune("=+-@|%＝＋－＠", first) {
		return "'" + text
	}
	return text
}

func number(n int64) string { return strconv.FormatInt(n, 10) }

// blank is a number, or an empty cell where none was measured.
func blank(n *int64) string {
	if n == nil {
		return ""
	}
	return number(*n)
}

// ExplainCSV prints the total and the splits, one row each. An empty cell was
// not measured.
func ExplainCSV(w io.Writer, v *view.Explain) error {
	s := newSheet(w, "split", "name", "files", "apparent_bytes", "hardlink_bytes", "zero_bytes", "source_bytes",
		"unique_bytes", "compressed_bytes", "exclusive_bytes")
	s.row("total", "", number(v.Files), number(v.ApparentBytes), number(v.HardlinkBytes), number(v.ZeroBytes),
		number(v.SourceBytes), number(v.UniqueBytes), blank(v.CompressedBytes), number(v.UniqueBytes))
	for _, split := range []struct {
		name string
		rows []view.ExplainRow
	}{{"folder", v.ByFolder}, {"type", v.ByType}} {
		for _, r := range split.rows {
			s.row(split.name, cellName(r.Raw), number(r.Files), number(r.ApparentBytes), number(r.HardlinkBytes), number(r.ZeroBytes),
				number(r.SourceBytes), number(r.UniqueBytes), blank(r.CompressedBytes), blank(r.Exclusive))
		}
	}
	return s.close()
}

// ChangeCSV prints the total and the splits, one row each. An empty cell was
// not measured or has no meaning in its split.
func ChangeCSV(w io.Writer, v *view.Change) error {
	s := newSheet(w, "split", "name", "cause", "nights", "files", "bytes", "touched_bytes", "changed_bytes", "new_bytes", "new_compressed_bytes")
	s.row("total", "", "", number(int64(len(v.Nights))), number(v.TouchedFiles), "", number(v.TouchedBytes), number(v.ChangedBytes),
		number(v.NewBytes), blank(v.NewCompressedBytes))
	for _, c := range v.Causes {
		s.row("cause", "", string(c.Cause), "", number(c.Files), number(c.Bytes), "", "", number(c.NewBytes), "")
	}
	for _, split := range []struct {
		name string
		rows []view.ChangeRow
	}{{"folder", v.ByFolder}, {"type", v.ByType}} {
		for _, r := range split.rows {
			s.row(split.name, cellName(r.Raw), "", "", number(r.TouchedFiles), "", number(r.TouchedBytes), number(r.ChangedBytes),
				number(r.NewBytes), blank(r.NewCompressedBytes))
		}
	}
	for _, f := range v.Top {
		s.row("file", cellName(f.Raw), string(f.Cause), number(int64(f.Nights)), "1", "", number(f.TouchedBytes), "", number(f.NewBytes), "")
	}
	return s.close()
}
