package view

import (
	"fmt"
	"strings"

	"tidemark/report/measure"
	"tidemark/report/units"
)

// Common answers what trees have in common: what one store for all of them
// would save. A null has its reason in the field of the same name with _reason
// behind.
type Common struct {
	Schema                string       `json:"schema"`
	Answer                string       `json:"answer"`
	Trees                 []CommonTree `json:"trees"` // in the order given
	Pairs                 []CommonPair `json:"pairs"`
	UnionBytes            int64        `json:"union_bytes"` // unique bytes of one store for all
	UnionCompressedBytes  *int64       `json:"union_compressed_bytes"`
	UnionCompressedReason string       `json:"union_compressed_bytes_reason,omitempty"`
	AllBytes              int64        `json:"all_bytes"`   // chunks that every tree holds
	SavedBytes            int64        `json:"saved_bytes"` // the trees' unique bytes less the union's
	SavedCompressedBytes  *int64       `json:"saved_compressed_bytes"`
	SavedCompressedReason string       `json:"saved_compressed_bytes_reason,omitempty"`
	SavedShare            float64      `json:"saved_share"` // of the trees' unique bytes
	Notes                 []string     `json:"notes"`

	Units units.System `json:"-"`
}

// CommonTree is one of the trees by itself.
type CommonTree struct {
	Path
	Logbook          string `json:"logbook"`
	Snapshot         int    `json:"snapshot"`
	Files            int64  `json:"files"`
	SourceBytes      int64  `json:"source_bytes"`
	UniqueBytes      int64  `json:"unique_bytes"`
	UniqueChunks     int64  `json:"unique_chunks"`
	CompressedBytes  *int64 `json:"compressed_bytes"`
	CompressedReason string `json:"compressed_bytes_reason,omitempty"`
	AloneBytes       int64  `json:"alone_bytes"` // of unique_bytes: chunks that no other tree holds
}

// CommonPair is what two of the trees have in common, the others aside.
type CommonPair struct {
	A         int     `json:"a"` // indices of trees
	B         int     `json:"b"`
	Bytes     int64   `json:"bytes"`
	Chunks    int64   `json:"chunks"`
	FileBytes int64   `json:"file_bytes"` // source bytes of distinct whole contents that both hold
	ShareOfA  float64 `json:"of_a_share"` // of the unique bytes of a
	ShareOfB  float64 `json:"of_b_share"`
}

// NewCommon makes the view; names are those of the trees as they were given.
func NewCommon(m *measure.CommonResult, names []string, o Options) *Common {
	v := &Common{
		Schema: "tidemark.overlap/1", Trees: []CommonTree{}, Pairs: []CommonPair{}, Units: o.Units,
		UnionBytes: m.UnionBytes, UnionCompressedBytes: measured(m.UnionCompressedBytes), AllBytes: m.AllBytes,
		SavedBytes: m.SavedBytes,
	}
	v.UnionCompressedReason = because(v.UnionCompressedBytes, reasonNoCompression)
	known, sum := m.UnionCompressedBytes >= 0, int64(0)
	for i := range m.Sides {
		s := &m.Sides[i]
		row := CommonTree{
			Path: newPath(names[i]), Logbook: units.EscapeName([]byte(s.Book.Dir())), Snapshot: s.Snapshot, Files: s.Files,
			SourceBytes: s.SourceBytes, UniqueBytes: s.UniqueBytes, UniqueChunks: s.UniqueChunks,
			CompressedBytes: measured(s.CompressedBytes), AloneBytes: s.AloneBytes,
		}
		row.CompressedReason = because(row.CompressedBytes, reasonNoCompression)
		known = known && s.CompressedBytes >= 0
		sum += s.UniqueBytes
		v.Trees = append(v.Trees, row)
	}
	if known {
		v.SavedCompressedBytes = some(m.SavedCompressedBytes)
	}
	v.SavedCompressedReason = because(v.SavedCompressedBytes, reasonNoCompression)
	v.SavedShare = share(m.SavedBytes, sum)
	for _, p := range m.Pairs {
		v.Pairs = append(v.Pairs, CommonPair{
			A: p.A, B: p.B, Bytes: p.Bytes, Chunks: p.Chunks, FileBytes: p.FileBytes,
			ShareOfA: share(p.Bytes, m.Sides[p.A].UniqueBytes), ShareOfB: share(p.Bytes, m.Sides[p.B].UniqueBytes),
		})
	}
	v.Answer = v.answer(sum)
	n := notes{units: o.Units}
	seen := map[string]bool{}
	for i := range m.Sides {
		s := &m.Sides[i]
		key := fmt.Sprint(s.Book.Dir(), s.Snapshot)
		if f := (Facts{Segments: s.Book.Segments()}).segment(s.Snapshot); f != nil && !seen[key] {
			n.coverage(s.Snapshot, f.Partial, f.Coverage)
		}
		seen[key] = true
	}
	n.add("Chunks are compared by their keyed fingerprints; the contents are in no logbook. Expected false matches: %.1g.", m.FalseMatches)
	n.add("Whether two shares or offices may lie in one store is a question of who may read and restore what, not of bytes.")
	n.unmeasured()
	v.Notes = n.lines
	return v
}

func (v *Common) answer(sum int64) string {
	b := v.Units.Bytes
	if sum == 0 {
		return "The trees hold no file contents."
	}
	if v.SavedBytes == 0 {
		return fmt.Sprintf("The %s have nothing in common: one store for all would hold %s, as much as each has by itself.",
			Plural(int64(len(v.Trees)), "tree"), b(v.UnionBytes))
	}
	var s strings.Builder
	fmt.Fprintf(&s, "One store for the %s would hold %s instead of %s: %s less (%s) than each in a store of its own",
		Plural(int64(len(v.Trees)), "tree"), b(v.UnionBytes), b(sum), b(v.SavedBytes), units.Share(v.SavedShare))
	if v.SavedCompressedBytes != nil {
		fmt.Fprintf(&s, ", compressed %s", b(*v.SavedCompressedBytes))
	} else {
		s.WriteString("; what that compresses to was not measured")
	}
	s.WriteString(".")
	return s.String()
}
