package view

import (
	"fmt"
	"strings"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// period names the time between two snapshots.
func period(f Facts, from, to int) string {
	a, z := f.segment(from), f.segment(to)
	if a == nil || z == nil {
		return fmt.Sprintf("the time from snapshot %d to %d", from, to)
	}
	if days := dates(a.Taken, z.Taken); to == from+1 && days <= 1 {
		if days < 1 {
			return "the hours up to " + moment(z.Taken)
		}
		return "the night of " + night(z.Taken)
	}
	return fmt.Sprintf("the time from %s to %s", moment(a.Taken), moment(z.Taken))
}

// dates is the number of local dates from one snapshot to another.
func dates(a, z time.Time) int {
	date := func(t time.Time) int64 {
		y, m, d := logbook.Night(t).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / (24 * 60 * 60)
	}
	return int(date(z) - date(a))
}

// pointNote says in words what a point suffers from.
func pointNote(p *measure.CurvePoint) string {
	var out []string
	for _, n := range p.Notes {
		switch n {
		case measure.NoNight:
			out = append(out, "no night led to the baseline, so nothing can be said of new bytes")
		case measure.FewChunks:
			out = append(out, fmt.Sprintf("only %s of this size: where a few of them end is luck, in an engine too, so unique and stored bytes are a range", Plural(p.SizedChunks, "chunk")))
		case measure.FewPlaces:
			text := fmt.Sprintf("only about %s changed: how long the chunks happen to be there decides, in an engine too, so new bytes are a range", Plural((p.Edges+1)/2, "place"))
			if p.NewBytes < 0 {
				text += " (too wide for a figure)"
			}
			out = append(out, text)
		case measure.NotMeasured:
			out = append(out, "compression was not measured")
		case measure.NewUnknown:
			out = append(out, "what is new was not compressed, so no upload can be given")
		}
	}
	return strings.Join(out, "; ")
}

// AverageText names a point's size: "64 KiB", "whole files".
func (p *CurvePoint) AverageText() string {
	if p.AverageBytes == nil {
		return "whole files"
	}
	return units.Exact(*p.AverageBytes)
}

func (v *Curve) answer(m *measure.CurveResult) string {
	b := v.Units.Bytes
	if m.SourceBytes == 0 {
		return fmt.Sprintf("Snapshot %d holds no file contents to store.", v.Snapshot)
	}
	first, files := &v.Points[0], &v.Points[len(v.Points)-1]
	if v.Minimum == nil {
		return fmt.Sprintf("The %s of snapshot %d are %s when cut at %s and %s as whole files; how far they compress was not measured, so no stored size can be given.",
			b(m.SourceBytes), v.Snapshot, b(first.UniqueBytes), first.AverageText(), b(files.UniqueBytes))
	}
	var s strings.Builder
	fmt.Fprintf(&s, "The %s of snapshot %d take least space cut at %s: %s.", b(m.SourceBytes), v.Snapshot,
		units.Exact(v.Minimum.AverageBytes), b(v.Minimum.StoredBytes))
	s.WriteString(" " + v.flatness())
	fmt.Fprintf(&s, " Kept as whole files they take %s.", b(*files.StoredBytes))
	s.WriteString(v.nightly())
	return s.String()
}

func (v *Curve) flatness() string {
	m := v.Minimum
	var s string
	switch {
	case m.FlatFromBytes == m.FlatToBytes:
		s = fmt.Sprintf("The curve is steep there: half or double that size takes over %s more.", units.Share(m.FlatShare))
		if m.AtSmallest {
			s = fmt.Sprintf("The curve is steep there: double that size takes over %s more.", units.Share(m.FlatShare))
		}
	default:
		s = fmt.Sprintf("The curve is flat around it: anything from %s to %s takes at most %s more.",
			units.Exact(m.FlatFromBytes), units.Exact(m.FlatToBytes), units.Share(m.FlatShare))
	}
	if m.AtSmallest {
		s += " It is the smallest size that this logbook knows, so smaller ones may take less still."
	}
	if m.OpenFromBytes < m.FlatFromBytes || m.OpenToBytes > m.FlatToBytes {
		s += fmt.Sprintf(" Which of those from %s to %s is the least is not certain: their ranges overlap.",
			units.Exact(m.OpenFromBytes), units.Exact(m.OpenToBytes))
	}
	return s
}

// nightly compares what the least and whole files upload.
func (v *Curve) nightly() string {
	least, files := &v.Points[v.Minimum.Index], &v.Points[len(v.Points)-1]
	if v.From == nil {
		return ""
	}
	if files.UploadBytes == nil || least.UploadLowBytes == nil {
		return fmt.Sprintf(" In %s, %s were new at %s, %s as whole files; what that compresses to was not measured.", v.Period,
			v.newText(least), least.AverageText(), v.newText(files))
	}
	figure := v.Units.Bytes(*least.UploadLowBytes) + " to " + v.Units.Bytes(*least.UploadHighBytes)
	if least.UploadBytes != nil && !least.NewRange {
		figure = v.Units.Bytes(*least.UploadBytes)
	}
	return fmt.Sprintf(" In %s, %s would have travelled at %s, %s as whole files.", v.Period,
		figure, least.AverageText(), v.Units.Bytes(*files.UploadBytes))
}

// newText is a point's new bytes, a range where it rests on little.
func (v *Curve) newText(p *CurvePoint) string {
	if p.NewBytes == nil || p.NewRange {
		return v.Units.Bytes(*p.NewLowBytes) + " to " + v.Units.Bytes(*p.NewHighBytes)
	}
	return v.Units.Bytes(*p.NewBytes)
}

func (v *Curve) notes(m *measure.CurveResult, f Facts, o Options) []string {
	n := notes{units: o.Units}
	if v.From != nil {
		n.nights(f, *v.From, v.Snapshot)
	} else {
		n.coverage(v.Snapshot, v.Partial, v.Coverage)
	}
	v.marks(&n)
	if v.From == nil {
		n.add("Snapshot %d is the baseline: no night led to it, so no new bytes can be given.", v.Snapshot)
	}
	if v.Nights > 1 {
		n.add("New and upload are the sums of %d steps.", v.Nights)
	}
	n.add("Only %s was cut (method %s); coarser averages are worked out of it without reading anything again, whole files exactly. Held against direct scans of three real trees, unique bytes agreed within 0.3 %% wherever a thousand chunks have the size, and the ranges are meant to hold a direct scan 19 times in 20.",
		units.Exact(int64(v.Method.AverageBytes)), v.Method.Name)
	n.add("An engine with another way to cut, or other shortest and longest chunks beside the same average, has another mean: compare the mean, not the nominal size.")
	n.curveOverhead(v, m.Profile)
	v.compression(&n)
	n.unmeasured()
	return n.lines
}

// compression says what the compressed bytes rest on.
func (v *Curve) compression(n *notes) {
	first := &v.Points[0]
	n.unpacked(first.CompressedBytes == nil, v.From != nil && first.UploadLowBytes == nil)
	switch v.Compression {
	case engine.Strong:
		n.add("Strong compression was not run: its result is taken as 0.85 of what light compression leaves (0.75 to 0.92), and the longer context of larger chunks is modelled.")
	case engine.None:
		n.add("The profile does not compress.")
	default:
		if first.CompressedBytes != nil {
			n.add("Light compression was measured on the chunks as cut; what larger chunks gain from their longer context is modelled, and the ranges hold the model's error.")
		}
	}
	if low, high := first.StoredLowBytes, first.StoredHighBytes; low != nil && *low < *high && v.Compression == engine.Light {
		n.add("Compression was measured on a sample: what is stored at %s lies between %s and %s (95 %% interval), and so all points together lie higher or lower.",
			first.AverageText(), n.units.Bytes(*low), n.units.Bytes(*high))
	}
}

// marks explains once what several points suffer from.
func (v *Curve) marks(n *notes) {
	letter := 'a'
	mark := func(which func(*CurvePoint) bool, text func(first, last *CurvePoint) string) {
		var first, last *CurvePoint
		for i := range v.Points {
			if p := &v.Points[i]; which(p) {
				if first == nil {
					first = p
				}
				last = p
				p.Mark += string(letter)
			}
		}
		if first != nil {
			n.add("%c) %s", letter, text(first, last))
			letter++
		}
	}
	mark(func(p *CurvePoint) bool { return p.UniqueRange }, func(first, last *CurvePoint) string {
		return fmt.Sprintf("Few chunks of that size (%s). Where a few of them end is luck, in an engine too, so unique and stored bytes are a range.",
			several(first, last, func(p *CurvePoint) int64 { return p.SizedChunks }))
	})
	mark(func(p *CurvePoint) bool { return p.NewRange }, func(first, last *CurvePoint) string {
		return fmt.Sprintf("Few places changed (about %s). How long the chunks happen to be there decides, in an engine too, so new bytes are a range.",
			several(first, last, func(p *CurvePoint) int64 { return p.ChangedPlaces }))
	})
	for i := range v.Points {
		// The mean of what content-defined cutting leaves of long files is above
		// the nominal size; far below it, files are mostly shorter.
		if p := &v.Points[i]; p.AverageBytes != nil && p.MeanBytes != nil && *p.MeanBytes < *p.AverageBytes/2 {
			n.add("From %s on most files are shorter than a chunk would be (the mean is %s), so larger sizes change little here.",
				p.AverageText(), n.units.Bytes(*p.MeanBytes))
			break
		}
	}
}

// several names one figure at the first and at the last of several points.
func several(first, last *CurvePoint, of func(*CurvePoint) int64) string {
	if first == last || of(first) == of(last) {
		return units.Count(of(first))
	}
	return fmt.Sprintf("%s at %s, %s at %s", units.Count(of(first)), first.AverageText(), units.Count(of(last)), last.AverageText())
}

func (n *notes) curveOverhead(v *Curve, p *engine.Profile) {
	counted := fmt.Sprintf("%s a chunk, %s a reference to one, %s a file", n.units.Bytes(v.PerChunkBytes), n.units.Bytes(v.PerReferenceBytes), n.units.Bytes(v.PerFileBytes))
	switch {
	case v.OverheadAssumed:
		n.add("No engine profile is given (--needs FILE): a typical store's bookkeeping is assumed, %s. The figures of explain count none.", counted)
	case p.PerChunkBytes+p.PerReferenceBytes+p.PerFileBytes == 0:
		n.add("The engine profile of the needs file adds nothing for the store's bookkeeping, so the smallest size looks best.")
	default:
		n.add("Overhead is counted as the engine profile of the needs file has it: %s.", counted)
	}
	if p.EncryptBeforeChunking {
		n.add("The profile encrypts before chunking, so nothing would repeat at any size: the curve shows its overheads on plain contents.")
	}
	if p.SeparateDevices {
		n.add("The profile keeps each label in a store of its own; the curve shows one store for all.")
	}
}
