package render

import (
	"io"
	"strconv"
	"strings"

	"tidemark/report/units"
	"tidemark/report/view"
)

// ProfilesText prints the answer for a person.
func ProfilesText(w io.Writer, v *view.Profiles) error {
	p := &page{}
	p.paragraph("", v.Answer)
	title := "Snapshot " + strconv.Itoa(v.Snapshot)
	if v.Period != "" {
		title += "; new and upload are of " + v.Period
	}
	t := table{head: []string{"unique", "mean", "compressed", "overhead", "stored", "of source", "new", "upload", "row"}}
	for i := range v.Profiles {
		r := &v.Profiles[i]
		of := "–"
		if r.StoredRatio != nil {
			of = units.Share(*r.StoredRatio)
		}
		t.row(v.Units.Bytes(r.UniqueBytes), optional(v.Units, r.MeanBytes), optional(v.Units, r.CompressedBytes), v.Units.Bytes(r.OverheadBytes),
			optional(v.Units, r.StoredBytes), of, optional(v.Units, r.NewBytes), optional(v.Units, r.UploadBytes), strconv.Itoa(i+1))
	}
	t.print(p, title)
	p.line("")
	for i := range v.Profiles {
		r := &v.Profiles[i]
		name := r.Name
		switch words := newWords(name, r.Words); {
		case name == "":
			name = r.Words
		case words != "":
			name += ": " + words
		}
		p.paragraph("  "+strconv.Itoa(i+1)+"  ", name+"; "+v.Units.Bytes(r.PerChunkBytes)+" a chunk, "+
			v.Units.Bytes(r.PerReferenceBytes)+" a reference, "+v.Units.Bytes(r.PerFileBytes)+" a file")
	}
	p.notes(v.Notes)
	return p.flush(w)
}

// newWords leaves out of a profile's words what its name says already. A part is
// left out where the name has it, and so is the size of the parts.
func newWords(name, words string) string {
	name = strings.ToLower(name)
	var kept []string
	for part := range strings.SplitSeq(words, ", ") {
		size := strings.TrimSuffix(strings.TrimPrefix(part, "chunks of "), " on average")
		if !strings.Contains(name, strings.ToLower(part)) && (size == part || !strings.Contains(name, strings.ToLower(size))) {
			kept = append(kept, part)
		}
	}
	return strings.Join(kept, ", ")
}

// ProfilesCSV prints one row a profile. An empty cell is not known.
func ProfilesCSV(w io.Writer, v *view.Profiles) error {
	s := newSheet(w, "name", "words", "unique_bytes", "mean_bytes", "compressed_bytes", "overhead_bytes", "stored_bytes", "new_bytes", "upload_bytes")
	for i := range v.Profiles {
		r := &v.Profiles[i]
		s.row(cellText(r.Name), cellText(r.Words), number(r.UniqueBytes), blank(r.MeanBytes), blank(r.CompressedBytes), number(r.OverheadBytes),
			blank(r.StoredBytes), blank(r.NewBytes), blank(r.UploadBytes))
	}
	return s.close()
}
