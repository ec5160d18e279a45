package view

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"tidemark/report/engine"
	"tidemark/report/measure"
	"tidemark/report/units"
	"tidemark/scan/logbook"
)

// Profiles answers what one tree and its last night would be in stores of
// several profiles, side by side. A null has its reason in the field of the same
// name with _reason behind.
type Profiles struct {
	Schema      string           `json:"schema"`
	Snapshot    int              `json:"snapshot"`
	Taken       time.Time        `json:"taken"`
	From        *int             `json:"from"` // the nights behind the uploads led from here
	FromReason  string           `json:"from_reason,omitempty"`
	Nights      int              `json:"nights"`
	Answer      string           `json:"answer"`
	SourceBytes int64            `json:"source_bytes"`
	Profiles    []ProfileRow     `json:"profiles"` // in the order given
	Partial     bool             `json:"partial"`
	Coverage    logbook.Coverage `json:"coverage"`
	Notes       []string         `json:"notes"`

	Units  units.System `json:"-"`
	Period string       `json:"-"`
}

// ProfileRow is one profile.
type ProfileRow struct {
	Engine
	Words               string   `json:"words"`   // what it does with contents
	Typical             bool     `json:"typical"` // one of this program's, not of the needs file
	MeanBytes           *int64   `json:"mean_bytes"`
	MeanReason          string   `json:"mean_bytes_reason,omitempty"`
	UniqueBytes         int64    `json:"unique_bytes"`
	CompressedBytes     *int64   `json:"compressed_bytes"`
	CompressedReason    string   `json:"compressed_bytes_reason,omitempty"`
	CompressedLowBytes  *int64   `json:"compressed_low_bytes"` // with what a sample and the models leave open
	CompressedLowR      string   `json:"compressed_low_bytes_reason,omitempty"`
	CompressedHighBytes *int64   `json:"compressed_high_bytes"`
	CompressedHighR     string   `json:"compressed_high_bytes_reason,omitempty"`
	OverheadBytes       int64    `json:"overhead_bytes"`
	StoredBytes         *int64   `json:"stored_bytes"`
	StoredReason        string   `json:"stored_bytes_reason,omitempty"`
	StoredRatio         *float64 `json:"stored_ratio"` // of the source; more than 1 where the store takes more
	StoredRatioReason   string   `json:"stored_ratio_reason,omitempty"`
	NewBytes            *int64   `json:"new_bytes"` // what it would take for new
	NewReason           string   `json:"new_bytes_reason,omitempty"`
	UploadBytes         *int64   `json:"upload_bytes"`
	UploadReason        string   `json:"upload_bytes_reason,omitempty"`
	NightlyUploadBytes  *int64   `json:"nightly_upload_bytes"` // a night on average
	NightlyReason       string   `json:"nightly_upload_bytes_reason,omitempty"`
	Bar                 float64  `json:"-"` // stored, 0 to 1 of the most
}

// NewProfiles makes the view. typical says of each result whether its profile is
// one of the program's.
func NewProfiles(results []measure.ProfileResult, typical []bool, f Facts, o Options) *Profiles {
	v := &Profiles{Schema: "tidemark.profiles/1", Profiles: []ProfileRow{}, Units: o.Units, FromReason: reasonNoStep}
	var most int64
	for i := range results {
		r := &results[i]
		e := r.Explain
		v.Snapshot, v.Nights = e.Snapshot, r.Nights
		if i == 0 || e.SourceBytes < v.SourceBytes {
			v.SourceBytes = e.SourceBytes // one measure for all: a store that encrypts first takes zeros for contents
		}
		if r.From > 0 {
			from := r.From
			v.From, v.FromReason = &from, ""
		}
		p := r.Profile
		if p == nil {
			p = &engine.Profile{Name: "as measured, nothing added"}
		}
		row := ProfileRow{
			Engine: *newEngine(p), Typical: typical[i], UniqueBytes: e.UniqueBytes, OverheadBytes: e.OverheadBytes,
			CompressedBytes: measured(e.CompressedBytes), CompressedLowBytes: measured(e.CompressedLowBytes), CompressedHighBytes: measured(e.CompressedHighBytes), StoredBytes: measured(e.StoredBytes),
			NewBytes: measured(r.NewBytes), UploadBytes: measured(r.UploadBytes),
		}
		row.Words = row.Engine.Words()
		if e.UniqueChunks > 0 {
			row.MeanBytes = some(r.MeanBytes)
		}
		row.MeanReason = because(row.MeanBytes, reasonNoChunks)
		row.CompressedReason, row.StoredReason = because(row.CompressedBytes, reasonNoCompression), because(row.StoredBytes, reasonNoCompression)
		row.CompressedLowR, row.CompressedHighR = row.CompressedReason, row.CompressedReason
		if row.StoredBytes != nil {
			most = max(most, *row.StoredBytes)
		}
		row.NewReason = because(row.NewBytes, reasonNoStep)
		if row.UploadBytes != nil && r.Nights > 0 {
			row.NightlyUploadBytes = some(mean(*row.UploadBytes, r.Nights))
		} else if row.UploadReason = reasonNoCompression; r.Nights == 0 {
			row.UploadReason = reasonNoStep
		}
		row.NightlyReason = row.UploadReason
		v.Profiles = append(v.Profiles, row)
	}
	for i := range v.Profiles {
		row := &v.Profiles[i]
		row.StoredRatioReason = row.StoredReason
		if s := row.StoredBytes; s != nil {
			row.Bar = share(*s, most)
			row.StoredRatio = ratio(*s, v.SourceBytes)
			row.StoredRatioReason = because(row.StoredRatio, reasonNoUnique)
		}
	}
	if s := f.segment(v.Snapshot); s != nil {
		v.Taken, v.Partial, v.Coverage = s.Taken, s.Partial, s.Coverage
	}
	if v.From != nil {
		v.Period = period(f, *v.From, v.Snapshot)
	}
	v.Answer = v.answer()
	n := notes{units: o.Units}
	if v.From != nil {
		n.nights(f, *v.From, v.Snapshot)
	} else {
		n.coverage(v.Snapshot, v.Partial, v.Coverage)
	}
	v.compression(&n)
	n.add("Upload is what travels of what is new to each store, with every earlier night still held.")
	// Each once, with the numbers of the rows that it is about.
	rows := map[measure.ProfileNote][]string{}
	var assumed []measure.ProfileNote
	for i := range results {
		for _, a := range results[i].Assumed {
			if rows[a] == nil {
				assumed = append(assumed, a)
			}
			rows[a] = append(rows[a], strconv.Itoa(i+1))
		}
	}
	for _, a := range assumed {
		one := notes{}
		one.assumed([]measure.ProfileNote{a})
		for _, line := range one.lines {
			n.add("%s: %s", strings.Join(rows[a], ", "), line)
		}
	}
	for i := range v.Profiles {
		if v.Profiles[i].Typical {
			n.add("The typical profiles, and what they add for each chunk, reference and file, are this program's assumptions. What an engine in question really does belongs in the needs file.")
			break
		}
	}
	n.unmeasured()
	v.Notes = n.lines
	return v
}

// compression says where compressed bytes are missing, or are estimates. A store
// that does not compress needs none.
func (v *Profiles) compression(n *notes) {
	var stored, upload bool
	var between []string
	for i := range v.Profiles {
		p := &v.Profiles[i]
		stored = stored || p.StoredBytes == nil
		upload = upload || v.From != nil && p.UploadBytes == nil
		if low, high := p.CompressedLowBytes, p.CompressedHighBytes; low != nil && *low < *high {
			between = append(between, fmt.Sprintf("%d from %s to %s", i+1, n.units.Bytes(*low), n.units.Bytes(*high)))
		}
	}
	if len(between) > 0 {
		n.add("Where a sample or a model stands behind what is compressed, it lies in a range: %s.", strings.Join(between, "; "))
	}
	n.unpacked(stored, upload)
}

func (v *Profiles) answer() string {
	var least, most *ProfileRow
	for i := range v.Profiles {
		p := &v.Profiles[i]
		if p.StoredBytes == nil {
			continue
		}
		if least == nil || *p.StoredBytes < *least.StoredBytes {
			least = p
		}
		if most == nil || *p.StoredBytes > *most.StoredBytes {
			most = p
		}
	}
	b := v.Units.Bytes
	if v.SourceBytes == 0 {
		return fmt.Sprintf("Snapshot %d holds no file contents to store.", v.Snapshot)
	}
	if least == nil {
		return fmt.Sprintf("Snapshot %d has %s to store; how far that compresses was not measured, so no stored size can be given.", v.Snapshot, b(v.SourceBytes))
	}
	s := fmt.Sprintf("The %s of snapshot %d take %s in a store of %s, and %s in one of %s.", b(v.SourceBytes), v.Snapshot,
		b(*least.StoredBytes), least.Words, b(*most.StoredBytes), most.Words)
	switch {
	case v.From == nil:
	case least.UploadBytes == nil || most.UploadBytes == nil:
		s += fmt.Sprintf(" What would have travelled in %s was not measured.", v.Period)
	default:
		s += fmt.Sprintf(" In %s, %s and %s would have travelled.", v.Period, b(*least.UploadBytes), b(*most.UploadBytes))
	}
	return s
}
