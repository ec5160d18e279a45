package view

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Churn answers where the change of a range of nights lives. A null has its
// reason in the field of the same name with _reason behind.
type Churn struct {
	Schema       string    `json:"schema"`
	From         int       `json:"from"`
	To           int       `json:"to"`
	FromTaken    time.Time `json:"from_taken"`
	ToTaken      time.Time `json:"to_taken"`
	Nights       int       `json:"nights"` // steps in between
	Answer       string    `json:"answer"`
	TouchedBytes int64     `json:"touched_bytes"`
	ChangedBytes int64     `json:"changed_bytes"`
	NewBytes     int64     `json:"new_bytes"`
	GoneBytes    int64     `json:"gone_bytes"`    // of new_bytes: what nothing holds any more at the end
	RenamedBytes int64     `json:"renamed_bytes"` // of all renamed trees
	RenamedFiles int64     `json:"renamed_files"`

	Causes    []CauseRow       `json:"causes"`
	ByType    []ChangeRow      `json:"by_type"`
	Folders   []ChurnFolder    `json:"folders"` // parents before children, in walk order; each with all below it
	Files     []ChurnFile      `json:"files"`   // most new bytes first
	Rewritten []RewrittenRow   `json:"rewritten"`
	Renamed   []RenamedRow     `json:"renamed"`
	Coverage  logbook.Coverage `json:"coverage"` // of To
	Notes     []string         `json:"notes"`

	Units units.System  `json:"-"`
	Tree  []ChurnFolder `json:"-"` // those of Folders that a person is shown
	Types []ChangeRow   `json:"-"`
}

// ChurnFolder is one folder with all that lies below it.
type ChurnFolder struct {
	Path
	Parent              int    `json:"parent"` // index in folders; −1: none
	Files               int64  `json:"files"`
	Nights              int    `json:"nights"` // on which something in it changed
	TouchedBytes        int64  `json:"touched_bytes"`
	ChangedBytes        int64  `json:"changed_bytes"`
	NewBytes            int64  `json:"new_bytes"`
	NewCompressedBytes  *int64 `json:"new_compressed_bytes"`
	NewCompressedReason string `json:"new_compressed_bytes_reason,omitempty"`
	GoneBytes           int64  `json:"gone_bytes"`

	NewShare float64 `json:"-"` // of all new bytes
	Depth    int     `json:"-"` // below its label
	Name     string  `json:"-"` // its last component, raw; the label of a root
}

// ChurnFile is one file over the nights. Between DiffersLow and DiffersHigh bytes
// really differ; how many exactly no logbook knows.
type ChurnFile struct {
	Path
	Cause               measure.Cause `json:"cause"`
	Nights              int           `json:"nights"`
	WholeNights         int           `json:"whole_nights"` // on which so good as all of it was new
	ChangedBytes        int64         `json:"changed_bytes"`
	NewBytes            int64         `json:"new_bytes"`
	NewCompressedBytes  *int64        `json:"new_compressed_bytes"`
	NewCompressedReason string        `json:"new_compressed_bytes_reason,omitempty"`
	EditNewBytes        int64         `json:"edit_new_bytes"` // of nights with older contents to go by, and not only grown
	Places              int64         `json:"changed_places"`
	DiffersLow          int64         `json:"differs_low_bytes"`
	DiffersHigh         int64         `json:"differs_high_bytes"`
	Amplification       *float64      `json:"amplification_ratio"` // new bytes for each that differs, estimated; from 1 to amplification_high_ratio
	AmplificationReason string        `json:"amplification_ratio_reason,omitempty"`
	AmplificationHigh   *float64      `json:"amplification_high_ratio"`
	AmplificationHighR  string        `json:"amplification_high_ratio_reason,omitempty"`

	NewShare float64 `json:"-"`
}

// RewrittenRow is a file, or a family of files that differ by digits in their
// names, that comes anew as a whole night after night.
type RewrittenRow struct {
	Path                       // of a family with # for each run of digits
	Family              bool   `json:"family"`
	Files               int64  `json:"files"`
	Nights              int    `json:"nights"`
	Bytes               int64  `json:"bytes"` // sizes on those nights
	NewBytes            int64  `json:"new_bytes"`
	NewCompressedBytes  *int64 `json:"new_compressed_bytes"`
	NewCompressedReason string `json:"new_compressed_bytes_reason,omitempty"`
	Archive             bool   `json:"archive"` // by its ending compressed as a whole
}

// RenamedRow is a tree, or a file, under another name: what a store that goes by paths sends
// again, although nothing of it is new.
type RenamedRow struct {
	Snapshot int   `json:"snapshot"`  // in which it has its new place
	From     Path  `json:"from_path"` // folders; the paths of the file where it is one
	To       Path  `json:"to_path"`
	File     bool  `json:"file"` // one file, and no tree
	Files    int64 `json:"files"`
	Bytes    int64 `json:"bytes"`     // re-uploaded by paths
	NewBytes int64 `json:"new_bytes"` // really: 0
}

const reasonNoEdit = "nothing was edited: no older contents to compare with"

// NewChurn makes the view.
func NewChurn(m *measure.Churn, f Facts, o Options) *Churn {
	c := m.Change
	v := &Churn{
		Schema: "tidemark.churn/1", From: m.From, To: m.To, Nights: m.Nights,
		TouchedBytes: c.TouchedBytes, ChangedBytes: c.ChangedBytes, NewBytes: c.NewBytes,
		RenamedBytes: m.RenamedBytes, RenamedFiles: m.RenamedFiles,
		Causes: causeRows(c), ByType: changeRows(c.ByType, c.NewBytes),
		Folders: []ChurnFolder{}, Files: []ChurnFile{}, Rewritten: []RewrittenRow{}, Renamed: []RenamedRow{},
		Coverage: logbook.Coverage{CoveredShare: 1}, Units: o.Units,
	}
	v.Types = firstRows(v.ByType, o.rows(), mergeChange)
	if s := f.segment(m.From); s != nil {
		v.FromTaken = s.Taken
	}
	if s := f.segment(m.To); s != nil {
		v.ToTaken, v.Coverage = s.Taken, s.Coverage
	}
	for i := range m.Folders {
		d := &m.Folders[i]
		row := ChurnFolder{
			Path: pathOf(d.Label, d.Path), Parent: d.Parent, Files: d.Files, Nights: d.Nights,
			TouchedBytes: d.TouchedBytes, ChangedBytes: d.ChangedBytes, NewBytes: d.NewBytes,
			NewCompressedBytes: measured(d.NewCompressedBytes), GoneBytes: d.GoneBytes,
			NewShare: share(d.NewBytes, c.NewBytes), Name: d.Label,
		}
		row.NewCompressedReason = because(row.NewCompressedBytes, reasonNoCompression)
		if len(d.Path) > 0 {
			row.Name = string(d.Path[bytes.LastIndexByte(d.Path, '/')+1:])
			row.Depth = bytes.Count(d.Path, []byte("/")) + 1
		}
		if d.Parent < 0 {
			v.GoneBytes += d.GoneBytes
		}
		v.Folders = append(v.Folders, row)
	}
	v.tree(2 * o.rows())
	for i := range m.Files {
		v.Files = append(v.Files, churnFile(&m.Files[i], c.NewBytes))
	}
	for _, r := range m.Rewritten {
		row := RewrittenRow{
			Path: pathOf(r.Label, r.Path), Family: r.NewNames, Files: r.Files, Nights: r.Nights, Bytes: r.Bytes,
			NewBytes: r.NewBytes, NewCompressedBytes: measured(r.NewCompressedBytes), Archive: r.Archive,
		}
		row.NewCompressedReason = because(row.NewCompressedBytes, reasonNoCompression)
		v.Rewritten = append(v.Rewritten, row)
	}
	for _, r := range m.Renamed {
		v.Renamed = append(v.Renamed, RenamedRow{
			Snapshot: r.Night, File: r.File, From: pathOf(r.FromLabel, r.From), To: pathOf(r.ToLabel, r.To), Files: r.Files, Bytes: r.Bytes,
		})
	}
	v.Answer = v.answer()
	v.Notes = v.notes(f, o)
	return v
}

func pathOf(label string, path []byte) Path {
	if len(path) == 0 {
		return newPath(label)
	}
	return newPath(label + "/" + string(path))
}

func churnFile(f *measure.ChurnFile, all int64) ChurnFile {
	row := ChurnFile{
		Path: pathOf(f.Label, f.Path), Cause: f.Cause, Nights: f.Nights, WholeNights: f.WholeNights,
		ChangedBytes: f.ChangedBytes, NewBytes: f.NewBytes, NewCompressedBytes: measured(f.NewCompressedBytes),
		EditNewBytes: f.EditNewBytes, Places: f.Places, DiffersLow: f.DiffersLow, DiffersHigh: f.DiffersHigh,
		NewShare: share(f.NewBytes, all),
	}
	row.NewCompressedReason = because(row.NewCompressedBytes, reasonNoCompression)
	if f.EditNewBytes > 0 && f.DiffersLow > 0 {
		a := f.Amplification
		row.Amplification, row.AmplificationHigh = &a, ratio(f.EditNewBytes, f.DiffersLow)
	}
	row.AmplificationReason, row.AmplificationHighR = because(row.Amplification, reasonNoEdit), because(row.AmplificationHigh, reasonNoEdit)
	return row
}

// tree picks the folders with most new bytes, with those above them.
func (v *Churn) tree(n int) {
	show := make([]bool, len(v.Folders))
	for least := 0.2; least > 0.005; least /= 2 {
		count := 0
		for i := range v.Folders {
			if v.Folders[i].NewShare >= least {
				count++
			}
		}
		if count > n {
			break
		}
		for i := range v.Folders {
			show[i] = v.Folders[i].NewShare >= least // those above hold at least as much
		}
	}
	for i := range v.Folders {
		if show[i] || v.Folders[i].Parent < 0 {
			v.Tree = append(v.Tree, v.Folders[i])
		}
	}
}

func (v *Churn) answer() string {
	b := v.Units.Bytes
	if v.NewBytes == 0 {
		return fmt.Sprintf("From snapshot %d to %d nothing was really new; %s in files whose contents changed.", v.From, v.To, b(v.ChangedBytes))
	}
	var s strings.Builder
	if v.Nights == 1 {
		fmt.Fprintf(&s, "From snapshot %d to %d, %s were really new", v.From, v.To, b(v.NewBytes))
	} else {
		fmt.Fprintf(&s, "In the %s from snapshot %d to %d, %s were really new, %s a night on average", Plural(int64(v.Nights), "step"), v.From, v.To,
			b(v.NewBytes), b(mean(v.NewBytes, v.Nights)))
	}
	if v.GoneBytes > 0 {
		fmt.Fprintf(&s, "; %s of it were gone again at the end (%s)", b(v.GoneBytes), units.Share(share(v.GoneBytes, v.NewBytes)))
	}
	s.WriteString(".")
	if d := v.deepest(); d != nil {
		fmt.Fprintf(&s, " %s of it lies in %s.", units.Share(d.NewShare), FolderText(d.Raw))
	}
	var whole int64
	for _, r := range v.Rewritten {
		whole += r.NewBytes
	}
	if whole > 0 {
		fmt.Fprintf(&s, " Files written anew as a whole night after night bring %s.", b(whole))
	}
	if v.RenamedBytes > 0 {
		fmt.Fprintf(&s, " What was only renamed or moved, %s, brings nothing new, but an engine that goes by paths sends it again.", b(v.RenamedBytes))
	}
	return s.String()
}

// deepest is the deepest folder that holds more than half of what is new, else
// the one of the first level that holds most. Where there is one root alone, that
// it holds everything tells nothing.
func (v *Churn) deepest() *ChurnFolder {
	roots := 0
	for i := range v.Folders {
		if v.Folders[i].Parent < 0 {
			roots++
		}
	}
	var half, most *ChurnFolder
	for i := range v.Folders {
		f := &v.Folders[i]
		if f.NewShare > 0.5 && (f.Parent >= 0 || roots > 1) && (half == nil || f.Depth >= half.Depth) {
			half = f
		}
		if f.Depth == 1 && f.NewBytes > 0 && (most == nil || f.NewShare > most.NewShare) {
			most = f
		}
	}
	if half != nil {
		return half
	}
	return most
}

func (v *Churn) notes(f Facts, o Options) []string {
	n := notes{units: o.Units}
	n.nights(f, v.From, v.To)
	if !f.ownWay(o.Profile) {
		n.add("Everything here is told in parts as this logbook cuts them, compressed bytes as light compression leaves them; tidemark change with --needs FILE speaks for the engine profile.")
	}
	n.add("A new chunk that several files hold is counted once, at the first of them in order. A folder's figures hold all below it.")
	if len(v.Files) > 0 {
		n.add("A chunk is new as a whole, so how many bytes of it really differ is not known, only in how many places: at least one byte in each. Amplification, the new bytes for each byte that differs, is an estimate by the law of isolated edits; it lies between 1 and the new bytes for each place, in brackets. Nights on which a file was created or only grew are not in it: all of that differs. Of several edits in one place nothing is known.")
	}
	if len(v.Rewritten) > 0 {
		n.add("Written anew as a whole: at least %s of the file was new, on three nights or more (two where there are fewer). Whether an archive's plain contents would change less can not be seen from outside: it is worth a try.", units.Share(measure.WholeShare))
	}
	n.add("Which of this is needed, and what may be left out or written otherwise, is for someone who knows the data; tidemark whatif says what it would save.")
	n.unmeasured()
	return n.lines
}
