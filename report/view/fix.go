package view

import (
	"bytes"
	"fmt"

	"tidemark/report/measure"
	"tidemark/report/units"
)

// Fixes answers which few changes would save most each night. None of them is
// known to be harmless: each is a suggestion for someone who knows the data.
type Fixes struct {
	From   int      `json:"from"`
	To     int      `json:"to"`
	Nights int      `json:"nights"` // steps in between: what the nightly savings are averages over
	Answer string   `json:"answer"`
	Fixes  []FixRow `json:"fixes"` // by NightlyBytes; at most mostFixes
	// Folders is what leaving each of the busiest folders out would save. Most of
	// them are needed: it is a measure of what they cost, and no suggestion.
	Folders []FixRow `json:"folders"`
	Notes   []string `json:"notes"`

	Units units.System `json:"-"`
}

// FixRow is one suggestion with its measured saving.
type FixRow struct {
	Kind measure.FixKind `json:"kind"`
	Path
	Family bool  `json:"family"` // Path stands for several files, # for the digits in which they differ
	Files  int64 `json:"files"`  // names that changed
	Nights int   `json:"nights"` // on so many nights

	NightlyBytes            int64  `json:"nightly_bytes"` // saved each night on average, of new bytes
	NightlyCompressedBytes  *int64 `json:"nightly_compressed_bytes"`
	NightlyCompressedReason string `json:"nightly_compressed_bytes_reason,omitempty"`
	AtMost                  bool   `json:"at_most"`            // the saving is no more than this; how much less was not measured
	OnceBytes               int64  `json:"saved_unique_bytes"` // of what is kept now, once; 0 where AtMost
	Within                  *int   `json:"within,omitempty"`   // index of the suggestion whose folder holds this one: the two do not add up

	Suggestion string  `json:"suggestion"` // to be checked
	Evidence   string  `json:"evidence"`   // what was measured
	Check      string  `json:"check"`      // what to ask before
	Share      float64 `json:"-"`          // of the new bytes of a night on average
}

const (
	mostFixes = 6
	// What looks as if it were made out of other data: nearly all of what is
	// written there is new each time, nearly nothing of it stays, and that on at
	// least half of the nights. A rule of ours; folders of thumbnails, caches and
	// exports do so.
	madeNewShare  = 0.9
	madeGoneShare = 0.8
)

// NewFixes makes the view of suggestions measured with a churn. fixes may hold
// more than is shown.
func NewFixes(c *measure.Churn, fixes []measure.Fix, o Options) *Fixes {
	v := &Fixes{From: c.From, To: c.To, Nights: c.Nights, Fixes: []FixRow{}, Folders: []FixRow{}, Units: o.Units}
	all := int64(0)
	if c.Nights > 0 {
		all = c.Change.NewBytes / int64(c.Nights)
	}
	place := map[int]int{} // of a fix that is suggested, among the rows
	for i := range fixes {
		f := &fixes[i]
		row := FixRow{
			Kind: f.Kind, Path: newPath(f.Label + "/" + string(f.Path)), Family: f.Family, Files: f.Files, Nights: f.Nights,
			NightlyBytes: f.NightlyBytes, NightlyCompressedBytes: measured(f.NightlyCompressedBytes),
			AtMost: f.AtMost, OnceBytes: f.SavedUniqueBytes, Share: share(f.NightlyBytes, all),
		}
		row.NightlyCompressedReason = because(row.NightlyCompressedBytes, reasonNoCompression)
		if f.Kind == measure.LeaveOut {
			if len(v.Folders) < o.rows() {
				v.Folders = append(v.Folders, row)
			}
			if !made(c, f) {
				continue
			}
		}
		if len(v.Fixes) == mostFixes {
			continue
		}
		row.say(f, c.Nights)
		place[i] = len(v.Fixes)
		v.Fixes = append(v.Fixes, row)
	}
	for i, at := range place {
		if w, is := place[fixes[i].Within]; is && fixes[i].Within >= 0 {
			v.Fixes[at].Within = &w
		}
	}
	v.Answer = v.answer()
	v.Notes = []string{
		"Each saving is measured alone, as an average over the nights; one that lies within another does not add to it.",
		"Whether a change is harmless can not be measured. Ask whoever owns the data, and try a restore afterwards.",
	}
	return v
}

// made says whether a folder looks as if its contents were made out of others.
func made(c *measure.Churn, f *measure.Fix) bool {
	if f.Nights*2 < c.Nights || c.Nights < 3 {
		return false
	}
	for i := range c.Folders {
		d := &c.Folders[i]
		if d.Label == f.Label && bytes.Equal(d.Path, f.Path) {
			return float64(d.NewBytes) >= madeNewShare*float64(d.ChangedBytes) && float64(d.GoneBytes) >= madeGoneShare*float64(d.NewBytes)
		}
	}
	return false
}

// say words a suggestion.
func (r *FixRow) say(f *measure.Fix, nights int) {
	name := FolderText(r.Raw)
	on := fmt.Sprintf("New data on %d of %s", f.Nights, Plural(int64(nights), "night"))
	switch f.Kind {
	case measure.LeaveOut:
		r.Suggestion = fmt.Sprintf("Leave out the folder %s, if what is in it can be made again", name)
		r.Evidence = fmt.Sprintf("%s, in %s, each time nearly all of it, and nearly nothing of it stays: as if it were made out of other data.", on, Plural(f.Files, "file"))
		r.Check = "Can its contents be made again from what is kept, and does nobody need them back?"
	case measure.WritePlain:
		r.Suggestion = fmt.Sprintf("Write %s uncompressed and leave the compressing to the store", r.named(name))
		r.Evidence = on + ", each time nearly all of it: one changed byte inside a compressed file changes all that follows."
		r.Check = "Is there room for the uncompressed file? How much less it brings then shows only when it is tried."
	default:
		r.Suggestion = fmt.Sprintf("Let %s write only what differs, or write it less often", r.named(name))
		r.Evidence = on + ", each time nearly all of it."
		r.Check = "Which program writes it, and can that one keep what has not changed?"
	}
}

func (r *FixRow) named(name string) string {
	if r.Family {
		return "the files " + name + " (# for digits)"
	}
	return name
}

func (v *Fixes) answer() string {
	if len(v.Fixes) == 0 {
		return "Nothing measured so far looks as if it were written anew night after night for no need."
	}
	f := v.Fixes[0]
	most := ""
	if f.AtMost {
		most = "at most "
	}
	return fmt.Sprintf("The change worth looking at first would save %s%s of new data a night (%s): %s.",
		most, v.Units.Bytes(f.NightlyBytes), units.Share(min(1, f.Share)), lowerFirst(f.Suggestion))
}

// lowerFirst lets a sentence go on.
func lowerFirst(s string) string {
	if s == "" || s[0] < 'A' || s[0] > 'Z' {
		return s
	}
	return string(s[0]+'a'-'A') + s[1:]
}
