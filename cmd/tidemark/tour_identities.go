package main

import (
	"fmt"

	"tidemark/report/measure"
)

// ledger adds up identities and keeps those that do not hold.
type ledger struct {
	checked int
	wrong   []string
}

func (l *ledger) equal(what string, got, want int64) {
	if l.checked++; got != want {
		l.wrong = append(l.wrong, fmt.Sprintf("%s: %d is not %d", what, got, want))
	}
}

func (l *ledger) most(what string, got, most int64) {
	if l.checked++; got > most {
		l.wrong = append(l.wrong, fmt.Sprintf("%s: %d is more than %d", what, got, most))
	}
}

// explain checks what leads from source to stored size.
func (l *ledger) explain(e *measure.Explain) {
	l.equal("apparent − hard links − zeros = source", e.ApparentBytes-e.HardlinkBytes-e.ZeroBytes, e.SourceBytes)
	l.equal("source − whole files − chunks held more than once = unique", e.SourceBytes-e.DuplicateFileBytes-e.DuplicateChunkBytes, e.UniqueBytes)
	l.equal("unique − compression = compressed", e.UniqueBytes-e.CompressionBytes, e.CompressedBytes)
	l.equal("compressed + overhead = stored", e.CompressedBytes+e.OverheadBytes, e.StoredBytes)
	l.most("the low bound of compressed", e.CompressedLowBytes, e.CompressedBytes)
	l.most("compressed beside its high bound", e.CompressedBytes, e.CompressedHighBytes)
	l.most("compressed beside unique", e.CompressedBytes, e.UniqueBytes)
	for _, split := range []struct {
		by   string
		rows []measure.ExplainSplit
	}{{"folders", e.ByFolder}, {"types", e.ByType}} {
		var sum measure.ExplainSplit
		for _, r := range split.rows {
			sum.Files += r.Files
			sum.ApparentBytes += r.ApparentBytes
			sum.HardlinkBytes += r.HardlinkBytes
			sum.ZeroBytes += r.ZeroBytes
			sum.SourceBytes += r.SourceBytes
			sum.UniqueBytes += r.UniqueBytes
			sum.CompressedBytes += r.CompressedBytes
			l.most("what "+r.Name+" alone holds", r.ExclusiveBytes, r.UniqueBytes)
		}
		l.equal("files of all "+split.by, sum.Files, e.Files)
		l.equal("sizes of all "+split.by, sum.ApparentBytes, e.ApparentBytes)
		l.equal("hard links of all "+split.by, sum.HardlinkBytes, e.HardlinkBytes)
		l.equal("zeros of all "+split.by, sum.ZeroBytes, e.ZeroBytes)
		l.equal("source of all "+split.by, sum.SourceBytes, e.SourceBytes)
		l.equal("unique of all "+split.by, sum.UniqueBytes, e.UniqueBytes)
		l.equal("compressed of all "+split.by, sum.CompressedBytes, e.CompressedBytes)
	}
}

// change checks what leads from touched to upload, and that the night leads from
// the snapshot before it to its own. c.Top must hold all files.
func (l *ledger) change(before, after *measure.Explain, c *measure.Change) {
	l.most("new beside changed", c.NewBytes, c.ChangedBytes)
	l.most("still new beside new", c.StillNewBytes, c.NewBytes)
	l.most("new compressed beside new", c.NewCompressedBytes, c.NewBytes)
	l.equal("new compressed + overhead = upload", c.NewCompressedBytes+c.OverheadBytes, c.UploadBytes)
	l.equal("unique + new + first seen + returning − freed = unique of the next night",
		before.UniqueBytes+c.NewBytes+c.FirstSeenNewBytes+c.ReturningBytes-c.FreedBytes, after.UniqueBytes)
	var sum measure.ChangeSplit
	for _, n := range c.Nights {
		sum.TouchedBytes += n.TouchedBytes
		sum.ChangedBytes += n.ChangedBytes
		sum.NewBytes += n.NewBytes
	}
	l.equal("touched of all nights", sum.TouchedBytes, c.TouchedBytes)
	l.equal("changed of all nights", sum.ChangedBytes, c.ChangedBytes)
	l.equal("new of all nights", sum.NewBytes, c.NewBytes)
	for _, split := range []struct {
		by   string
		rows []measure.ChangeSplit
	}{{"folders", c.ByFolder}, {"types", c.ByType}} {
		sum = measure.ChangeSplit{}
		for _, r := range split.rows {
			sum.TouchedFiles += r.TouchedFiles
			sum.TouchedBytes += r.TouchedBytes
			sum.ChangedBytes += r.ChangedBytes
			sum.NewBytes += r.NewBytes
			sum.NewPacked += r.NewPacked
		}
		l.equal("touched files of all "+split.by, sum.TouchedFiles, c.TouchedFiles)
		l.equal("touched of all "+split.by, sum.TouchedBytes, c.TouchedBytes)
		l.equal("changed of all "+split.by, sum.ChangedBytes, c.ChangedBytes)
		l.equal("new of all "+split.by, sum.NewBytes, c.NewBytes)
		l.equal("new compressed of all "+split.by, sum.NewPacked, c.NewCompressedBytes)
	}
	var causes, files, touched int64
	for _, r := range c.Causes {
		causes += r.NewBytes
	}
	for _, f := range c.Top {
		files += f.NewBytes
		touched += f.TouchedBytes
	}
	l.equal("new of all causes", causes, c.NewBytes)
	l.equal("new of all files", files, c.NewBytes)
	l.equal("touched of all files", touched, c.TouchedBytes)
}
