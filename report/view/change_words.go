package view

import (
	"fmt"

	"tidemark/report/measure"
	"tidemark/report/units"
)

// period names the time that the change covers.
func (v *Change) period() string {
	switch {
	case v.To == v.From+1 && v.Spanned == 1:
		return "the night of " + night(v.ToTaken)
	case v.To == v.From+1 && v.Spanned < 1:
		return "the hours up to " + moment(v.ToTaken)
	}
	return fmt.Sprintf("the time from %s to %s", moment(v.FromTaken), moment(v.ToTaken))
}

// bytesOf adds up the sizes of the files of some causes.
func (v *Change) bytesOf(causes ...measure.Cause) (bytes, fresh int64) {
	for _, row := range v.Causes {
		for _, c := range causes {
			if row.Cause == c {
				bytes += row.Bytes
				fresh += row.NewBytes
			}
		}
	}
	return bytes, fresh
}

// ladder leads from what was touched to what has to travel.
func (v *Change) ladder() []Step {
	l := &ladder{whole: v.TouchedBytes, top: max(v.TouchedBytes, v.ChangedBytes, v.EngineNewBytes)}
	l.start("touched: new, or other size or time", v.TouchedBytes)
	same, hidden := v.untouched()
	l.minus("only their times differ", same)
	if hidden > 0 {
		l.plus("changed behind unchanged times", hidden)
	}
	l.equals("changed: other or new contents")
	known, fresh := v.bytesOf(measure.Moved, measure.Copied, measure.Returned)
	l.minus("moved, copied or come back whole", known-fresh)
	l.minus("chunks known already, or zeros", v.ChangedBytes-(known-fresh)-v.NewBytes)
	l.equals("new: never seen before")
	if v.UploadBytes == nil || v.NewCompressedBytes == nil {
		l.unknown(Minus, "compression")
		l.unknown(Equals, "to upload")
		return l.steps
	}
	if around := v.EngineNewBytes - v.NewBytes; around > 0 {
		l.plus("known chunks that this engine sends again", around)
		l.equals("new to this engine")
	}
	l.minus("compression", v.EngineNewBytes-*v.NewCompressedBytes)
	l.equals("new, compressed")
	if again := *v.UploadBytes - *v.NewCompressedBytes - v.OverheadBytes; again != 0 {
		l.plus("returning chunks, compressed", again)
	}
	if v.OverheadNote == "" {
		l.plus("overhead of the store", v.OverheadBytes)
	}
	l.equals("to upload")
	return l.steps
}

// untouched adds up, night by night, what was touched and did not change, and
// what changed without being touched (its times were put back, say). Of a night
// that has both only the difference is known, so each is at least that much. The
// cause restamped is no help: a file whose permissions or number of names alone
// changed has it and is not touched.
func (v *Change) untouched() (same, hidden int64) {
	var touched, changed int64
	for _, n := range v.Nights {
		touched, changed = touched+n.TouchedBytes, changed+n.ChangedBytes
		same += max(0, n.TouchedBytes-n.ChangedBytes)
		hidden += max(0, n.ChangedBytes-n.TouchedBytes)
	}
	if touched != v.TouchedBytes || changed != v.ChangedBytes { // not told by nights
		return max(0, v.TouchedBytes-v.ChangedBytes), max(0, v.ChangedBytes-v.TouchedBytes)
	}
	return same, hidden
}

func (v *Change) answer() string {
	b := v.Units.Bytes
	if v.TouchedFiles == 0 && v.ChangedFiles == 0 {
		return fmt.Sprintf("Nothing was touched in %s%s.", v.Period, v.gone())
	}
	head := fmt.Sprintf("Of %s in %s touched in %s, %s", b(v.TouchedBytes), Plural(v.TouchedFiles, "file"), v.Period, v.reallyNew())
	if v.UploadBytes == nil {
		return head + "; what that compresses to was not measured." + v.most()
	}
	return fmt.Sprintf("%s; %s would have to travel.%s", head, b(*v.UploadBytes), v.most())
}

// reallyNew says how much of what was touched was new.
func (v *Change) reallyNew() string {
	switch {
	case v.NewBytes == 0:
		return "nothing was really new"
	case v.TouchedBytes > 0 && v.NewBytes <= v.TouchedBytes:
		return fmt.Sprintf("%s were really new (%s)", v.Units.Bytes(v.NewBytes), units.Share(share(v.NewBytes, v.TouchedBytes)))
	}
	return v.Units.Bytes(v.NewBytes) + " were really new"
}

// gone adds what was deleted to a sentence about a night without touched files.
func (v *Change) gone() string {
	for _, row := range v.Causes {
		if row.Cause == measure.Deleted {
			return fmt.Sprintf("; %s with %s went", Plural(row.Files, "file"), v.Units.Bytes(row.Bytes))
		}
	}
	return ""
}

// most names the folder that holds most of the new bytes.
func (v *Change) most() string {
	if v.NewBytes == 0 || len(v.ByFolder) < 2 {
		return ""
	}
	first, part := v.ByFolder[0], "The largest part of it"
	if first.NewShare > 0.5 {
		part = "Most of it"
	}
	if first.NewBytes == v.NewBytes {
		return fmt.Sprintf(" All of it lies in %s.", FolderText(first.Raw))
	}
	return fmt.Sprintf(" %s, %s, lies in %s.", part, units.Share(first.NewShare), FolderText(first.Raw))
}

func (v *Change) notes(m *measure.Change, f Facts, o Options) []string {
	n := notes{units: o.Units}
	n.nights(f, v.From, v.To)
	if len(v.Nights) > 1 {
		n.add("Every figure is the sum of %d steps; of the new bytes, %s are still there at the end.", len(v.Nights), o.Units.Bytes(v.StillNewBytes))
	}
	if v.FirstSeenFiles > 0 {
		n.add("%s with %s came in for the first time (newly in scope, or not readable before). That is baseline, not change, and in no figure above; %s of it is held by nothing else.",
			Plural(v.FirstSeenFiles, "file"), o.Units.Bytes(v.FirstSeenBytes), o.Units.Bytes(v.FirstSeenNewBytes))
	}
	if v.ReturningBytes > 0 && v.UploadBytes != nil && *v.UploadBytes == *v.NewCompressedBytes+v.OverheadBytes {
		n.add("%s returned: chunks seen on an earlier night and absent since. They count as still held by the store, so they do not travel again.",
			o.Units.Bytes(v.ReturningBytes))
	}
	if m.NewCompressedBytes < 0 {
		n.add(uploadUnknown)
	}
	if low, high := v.NewPackedLowBytes, v.NewPackedHighBytes; low != nil && *low < *high {
		if o.Assumed == nil || f.ownWay(o.Profile) {
			n.add("Compression was measured on a sample, %s of the new bytes. What is new compresses to between %s and %s (95 %% interval).",
				units.Share(share(m.NewMeasuredBytes, m.NewBytes)), o.Units.Bytes(*low), o.Units.Bytes(*high))
		} else {
			n.add("What is new to the engine compresses to between %s and %s.", o.Units.Bytes(*low), o.Units.Bytes(*high))
		}
	}
	if v.EngineNewBytes > v.NewBytes {
		n.add("Causes, folders and types tell what is really new; that engine sends %s in its place, since a changed place takes a whole unit of its own along. Compressed bytes of the tables are shares of that.", o.Units.Bytes(v.EngineNewBytes))
	}
	n.chunks(v.Method, v.MeanNewChunkBytes, "new ")
	n.engine(f, o)
	if len(v.ByFolder) > 0 {
		n.add("A new chunk that several files hold is counted once, at the first of them in order; folders, types, causes and files each add up to the total.")
	}
	n.unmeasured()
	return n.lines
}
