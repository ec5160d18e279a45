package view

import (
	"fmt"
	"strings"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
)

// retentionWords says what is kept: "everything", "7 daily, 4 weekly".
func retentionWords(r *engine.Retention) string {
	if r == nil || r.Everything {
		return "everything"
	}
	var w []string
	if r.Last > 0 {
		w = append(w, "the last "+units.Count(int64(r.Last)))
	}
	for _, x := range []struct {
		n    int
		word string
	}{{r.Daily, "daily"}, {r.Weekly, "weekly"}, {r.Monthly, "monthly"}, {r.Yearly, "yearly"}} {
		if x.n > 0 {
			w = append(w, fmt.Sprintf("%s %s", units.Count(int64(x.n)), x.word))
		}
	}
	if r.CapBytes > 0 {
		w = append(w, "at most "+units.Exact(r.CapBytes))
	}
	return strings.Join(w, ", ")
}

func (v *WhatIf) answer(p WhatIfParts) string {
	var what []string
	if len(v.Rules) > 0 {
		verb := "leaving out"
		if v.KeepOnly {
			verb = "keeping only what is named, and leaving out the other"
		}
		what = append(what, fmt.Sprintf("%s %s of %s", verb, v.leftOut(), v.Units.Bytes(v.LeftOutBytes)))
	}
	if p.After != nil {
		what = append(what, "an engine of "+newEngine(p.After).Words())
	}
	head := strings.Join(what, ", with ")
	if head == "" {
		return v.kept() + v.again()
	}
	if p.After != nil {
		head += "," // what it does is a list
	}
	s := strings.ToUpper(head[:1]) + head[1:] + " " + v.now() + v.night() + "."
	if kept := v.kept(); kept != "" {
		s += " " + kept
	}
	return s
}

// leftOut counts what is left out: names and, where some of them are further
// names of a file that another name stands for, the files.
func (v *WhatIf) leftOut() string {
	names := v.LeftOutFiles
	files := v.Before.Files - v.After.Files
	switch further := names - files; {
	case further == 0:
		return Plural(files, "file")
	case files == 0 && names == 1:
		return "1 further name of a file that stays"
	case files == 0:
		return units.Count(names) + " further names of files that stay"
	case further == 1:
		return fmt.Sprintf("%s (%s; the other is a further name)", Plural(names, "name"), Plural(files, "file"))
	default:
		return fmt.Sprintf("%s (%s; the others are further names)", Plural(names, "name"), Plural(files, "file"))
	}
}

// nightWord ends a phrase about what a night brings.
func (v *WhatIf) nightWord() string {
	if v.Nights > 1 {
		return "in a night, on average"
	}
	return "in the night"
}

// kept compares what the retentions need for the nights measured.
func (v *WhatIf) kept() string {
	a, z := &v.Before, &v.After
	if z.Retention == "" {
		return ""
	}
	if a.KeptBytes == nil || z.KeptBytes == nil {
		return fmt.Sprintf("Keeping %s holds %s of those measured; what those compress to together was not measured everywhere.", z.Retention, Plural(int64(len(z.KeptSnapshots)), "snapshot"))
	}
	b := v.Units.Bytes
	s := fmt.Sprintf("Keeping %s takes %s (%s of those measured)", z.Retention, b(*z.KeptBytes), Plural(int64(len(z.KeptSnapshots)), "snapshot"))
	if a.Retention == z.Retention {
		return s + fmt.Sprintf(" instead of %s.", b(*a.KeptBytes))
	}
	return s + fmt.Sprintf(" instead of %s (%s, %s).", b(*a.KeptBytes), a.Retention, units.Count(int64(len(a.KeptSnapshots))))
}

// again says what the retention alone makes travel more.
func (v *WhatIf) again() string {
	switch n := v.SavedNightlyBytes; {
	case n == nil || *n == 0:
		return " What travels " + v.nightWord() + " stays as it is."
	case *n < 0:
		return fmt.Sprintf(" Since what comes back has to travel again, %s more travel %s.", v.Units.Bytes(-*n), v.nightWord())
	default:
		return fmt.Sprintf(" Since less has to travel again, %s less travel %s.", v.Units.Bytes(*n), v.nightWord())
	}
}

// now is what becomes of the stored bytes.
func (v *WhatIf) now() string {
	b := v.Units.Bytes
	switch {
	case v.SavedBytes == nil:
		return fmt.Sprintf("would save %s of the %s unique; what that compresses to was not measured", b(v.SavedUniqueBytes), b(v.Before.UniqueBytes))
	case *v.SavedBytes > 0:
		return fmt.Sprintf("would save %s of the %s stored (%s)", b(*v.SavedBytes), b(*v.Before.StoredBytes), units.Share(*v.SavedShare))
	case *v.SavedBytes < 0:
		return fmt.Sprintf("would take %s more than the %s stored", b(-*v.SavedBytes), b(*v.Before.StoredBytes))
	}
	return fmt.Sprintf("would save nothing of the %s stored", b(*v.Before.StoredBytes))
}

// night is what becomes of the nightly upload.
func (v *WhatIf) night() string {
	b := v.Units.Bytes
	if v.SavedNightlyBytes == nil {
		return ""
	}
	mean := "in the last night"
	if v.Nights > 1 || v.Snapshot != *v.From+1 {
		mean = fmt.Sprintf("in a night (mean of %s)", Plural(int64(v.Nights), "step"))
	} else if v.From != nil {
		mean = fmt.Sprintf("in the night up to snapshot %d", v.Snapshot)
	}
	switch n := *v.SavedNightlyBytes; {
	case n > 0:
		return fmt.Sprintf(", and %s of the %s that travel %s", b(n), b(*v.Before.NightlyUploadBytes), mean)
	case n < 0:
		return fmt.Sprintf(", and send %s more than the %s that travel %s", b(-n), b(*v.Before.NightlyUploadBytes), mean)
	}
	return fmt.Sprintf(", and nothing of the %s that travel %s", b(*v.Before.NightlyUploadBytes), mean)
}

func (v *WhatIf) notes(p WhatIfParts, f Facts, o Options) []string {
	n := notes{units: o.Units}
	if v.From != nil {
		n.nights(f, *v.From, v.Snapshot)
	} else {
		n.coverage(v.Snapshot, v.Before.Partial, v.Before.Coverage)
	}
	v.compression(&n, p.Result)
	for i := range v.Rules {
		switch r := &v.Rules[i]; {
		case r.MatchesNothing:
			n.add("Rule %d, %s, matches nothing: no file on any night.", i+1, r.Rule)
		case r.Files == 0:
			n.add("Rule %d, %s, names nothing in snapshot %d, but %s on earlier nights.", i+1, r.Rule, v.Snapshot, Plural(r.EverFiles, "name"))
		}
	}
	if len(v.Rules) > 0 {
		n.add("Bytes count as saved only if no file that stays shares them. Ages are measured up to the moment at which snapshot %d was taken.", v.Snapshot)
		n.add("What the nights bring is counted as if the files had been left out from the first snapshot on: a chunk that a file left out brought and that a kept file takes over later is new on that later night.")
	}
	v.overlap(&n, p)
	if len(v.Rules) > 0 && !f.ownUnits(o.Profile) {
		n.add("The rules by themselves are measured in the logbook's own chunks.")
	}
	if o.Profile == nil && p.After == nil {
		n.overhead(nil)
	}
	if p.After != nil {
		after := o
		after.Profile, after.Assumed = p.After, p.Result.Assumed
		before := "as measured, light compression, no overhead"
		if o.Profile != nil {
			before = newEngine(o.Profile).Words()
		}
		n.add("Before: %s. After: %s; %s a chunk, %s a reference, %s a file.", before, newEngine(p.After).Words(),
			o.Units.Bytes(p.After.PerChunkBytes), o.Units.Bytes(p.After.PerReferenceBytes), o.Units.Bytes(p.After.PerFileBytes))
		n.assumed(after.Assumed)
	} else if o.Profile != nil {
		after := o
		after.Assumed = p.Result.Assumed
		n.engine(f, after)
	}
	if v.Before.KeptBytes != nil {
		if plain := max(v.Before.KeptPlainBytes, v.After.KeptPlainBytes); plain > 0 {
			n.add("Up to %s of what a retention keeps counts uncompressed, here and in tidemark estimate: no chunk like them was in the sample that was compressed.", o.Units.Bytes(plain))
		}
		n.add("A retention is replayed on the nights measured, exactly; how it goes on from there is a question for tidemark estimate. What comes back after the retention let it go counts as travelling again.")
	}
	n.add("Whether a file may be left out is not for this program to know.")
	return n.lines
}

// compression says where compressed bytes are missing, or are estimates.
func (v *WhatIf) compression(n *notes, m *measure.WhatIfResult) {
	n.unpacked(v.SavedBytes == nil, v.From != nil && v.SavedNightlyBytes == nil)
	for _, side := range []struct {
		word string
		*measure.Explain
	}{{"before", m.Before}, {"after", m.After}} {
		if side.CompressedLowBytes < side.CompressedHighBytes {
			n.add("The compressed size %s lies between %s and %s.", side.word, n.units.Bytes(side.CompressedLowBytes), n.units.Bytes(side.CompressedHighBytes))
		}
	}
}

// overlap compares the rules alone with all of them together.
func (v *WhatIf) overlap(n *notes, p WhatIfParts) {
	if len(v.Rules) < 2 || v.AloneBytes == nil || v.SavedBytes == nil || v.KeepOnly || p.After != nil {
		return
	}
	switch sum, all := *v.AloneBytes, *v.SavedBytes; {
	case sum > all:
		n.add("The rules overlap: alone they would save %s in sum, together it is %s.", n.units.Bytes(sum), n.units.Bytes(all))
	case sum < all:
		n.add("Files of several rules share chunks that only go when all of them do: alone the rules would save %s in sum, together it is %s.", n.units.Bytes(sum), n.units.Bytes(all))
	}
}
