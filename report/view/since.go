package view

// SinceRow is one figure of two snapshots. Nil: not measured.
type SinceRow struct {
	Words         string
	Before, After *int64
	Difference    *int64
}

// Compare sets an earlier snapshot beside v.
func (v *Explain) Compare(before *Explain) {
	before.Schema = ""
	v.Before = before
	row := func(words string, a, b *int64) {
		r := SinceRow{Words: words, Before: a, After: b}
		if a != nil && b != nil {
			r.Difference = some(*b - *a)
		}
		v.Since = append(v.Since, r)
	}
	row("sizes of all names added up", &before.ApparentBytes, &v.ApparentBytes)
	row("further names of a file (hard links)", &before.HardlinkBytes, &v.HardlinkBytes)
	row("runs of zeros", &before.ZeroBytes, &v.ZeroBytes)
	row("source", &before.SourceBytes, &v.SourceBytes)
	row("whole files held more than once", &before.DuplicateFileBytes, &v.DuplicateFileBytes)
	row("chunks held more than once", &before.DuplicateChunkBytes, &v.DuplicateChunkBytes)
	row("unique: each chunk once", &before.UniqueBytes, &v.UniqueBytes)
	row("compression", before.CompressionBytes, v.CompressionBytes)
	row("compressed", before.CompressedBytes, v.CompressedBytes)
	row("overhead of the store", &before.OverheadBytes, &v.OverheadBytes)
	row("stored", before.StoredBytes, v.StoredBytes)
}
