package view

import "tidemark/report/units"

// Tour is the page that walks a reader through an example whose truth is known.
// It is made of the answers of the other commands; what is its own is the
// scoreboard.
type Tour struct {
	Schema    string    `json:"schema"`
	Answer    string    `json:"answer"`
	Size      string    `json:"size"` // "full" or "small"
	Seed      uint64    `json:"seed"`
	Nights    int       `json:"nights"` // played after the baseline, a missed one too
	Snapshots int       `json:"snapshots"`
	Paths     TourPaths `json:"paths"`
	Elapsed   TourTimes `json:"elapsed"`

	Steps      []TourStep  `json:"steps"`
	Board      []TourNight `json:"nights_board"`
	Scoreboard []TourRow   `json:"scoreboard"`
	Checks     int         `json:"checks"` // rows of the scoreboard
	Failed     int         `json:"failed"` // … that do not hold
	Identities int         `json:"identities"`
	Broken     []string    `json:"broken_identities"`
	Notes      []string    `json:"notes"`

	Units units.System `json:"-"`
}

// TourPaths says where things were left, as paths of the file system.
type TourPaths struct {
	Folder  string   `json:"folder"`
	Data    []string `json:"data"` // the roots, in order of joining
	Logbook string   `json:"logbook"`
	Truth   string   `json:"truth"`
	Needs   string   `json:"needs"`
	Report  string   `json:"report"`
}

// TourTimes says what the tour cost on this machine.
type TourTimes struct {
	LayoutSeconds  float64 `json:"layout_seconds"` // to make the example
	ScanSeconds    float64 `json:"scan_seconds"`   // to measure all of its nights
	PageSeconds    float64 `json:"page_seconds"`   // to answer the questions
	ElapsedSeconds float64 `json:"elapsed_seconds"`
}

// TourStep is one question of a newcomer, with its answer.
type TourStep struct {
	Number   int        `json:"number"`
	Question string     `json:"question"`
	Parts    []TourPart `json:"parts"`
}

// TourPart is one command of a step and what it says here.
type TourPart struct {
	Arguments []string `json:"arguments"`          // of the program; empty: words of the tour itself
	Says      []string `json:"says"`               // paragraphs
	After     []string `json:"after,omitempty"`    // … behind ladder and table
	Verbatim  bool     `json:"verbatim,omitempty"` // the command says the first paragraph in these words
	Done      bool     `json:"done,omitempty"`     // the tour has run it already, and running it again would add to the logbook

	Ladder []Step     `json:"-"`
	Whole  string     `json:"-"` // what the ladder's shares refer to
	Table  *TourTable `json:"-"`
}

// TourTable is rows for a person. The last column is the name.
type TourTable struct {
	Title string
	Head  []string
	Rows  [][]string
}

// TourAllFiles is What of the row that adds up all files and nights.
const TourAllFiles = "all files"

// Rules of a TourRow.
const (
	TourExact = "exact"    // measured = truth
	TourLeast = "at_least" // measured ≥ truth
	TourMost  = "at_most"  // measured ≤ bound
)

// TourRow holds one measured figure of one night against what was really done.
// Either the bytes or the plain counts are set.
type TourRow struct {
	Night    int    `json:"night"`
	Snapshot int    `json:"snapshot"`
	Date     string `json:"date"`
	Event    string `json:"event"` // "": an ordinary night
	What     string `json:"what"`  // "tree", "coverage", "change", a cause, or a path
	Figure   string `json:"figure"`
	Rule     string `json:"rule"`
	Total    bool   `json:"all_nights,omitempty"` // adds up all nights to this one

	TruthBytes    *int64   `json:"truth_bytes,omitempty"`
	MeasuredBytes *int64   `json:"measured_bytes,omitempty"`
	BoundBytes    *int64   `json:"bound_bytes,omitempty"` // of at_most
	LawBytes      *int64   `json:"law_bytes,omitempty"`   // of at_most: the law alone, without a margin
	TruthCount    *int64   `json:"truth,omitempty"`
	MeasuredCount *int64   `json:"measured,omitempty"`
	Ratio         *float64 `json:"measured_to_truth_ratio,omitempty"` // absent where the truth is 0
	OK            bool     `json:"ok"`
}

// TourNight sums up the scoreboard of one snapshot.
type TourNight struct {
	Night          int      `json:"night"`
	Snapshot       int      `json:"snapshot"`
	Date           string   `json:"date"`
	Event          string   `json:"event"`
	Done           string   `json:"done"`             // what was done to the tree, in words
	NeverSeenBytes int64    `json:"never_seen_bytes"` // written and never seen before: the least that any measure must find
	NewBytes       int64    `json:"new_bytes"`        // measured
	Ratio          *float64 `json:"measured_to_truth_ratio,omitempty"`
	Checks         int      `json:"checks"`
	Failed         int      `json:"failed"`

	Short string `json:"-"` // Done without what every such day brings; "" on an ordinary night
}

// TourBytes is a row about bytes.
func TourBytes(what, figure, rule string, truth, measured int64) TourRow {
	r := TourRow{What: what, Figure: figure, Rule: rule, TruthBytes: &truth, MeasuredBytes: &measured, Ratio: ratio(measured, truth)}
	r.OK = r.Rule == TourExact && truth == measured || r.Rule == TourLeast && measured >= truth
	return r
}

// TourCount is a row about a plain count, which must be exact.
func TourCount(what, figure string, truth, measured int64) TourRow {
	return TourRow{What: what, Figure: figure, Rule: TourExact, TruthCount: &truth, MeasuredCount: &measured, Ratio: ratio(measured, truth), OK: truth == measured}
}

// TourLaw is a row about what scattered writes of truth bytes made new: law is
// what is expected of cutting by content, bound the most that chance allows.
func TourLaw(path string, truth, measured, law, bound int64) TourRow {
	r := TourBytes(path, "new_bytes", TourMost, truth, measured)
	r.LawBytes, r.BoundBytes, r.OK = &law, &bound, measured <= bound
	return r
}

// Add puts the rows of a night on the scoreboard.
func (v *Tour) Add(n TourNight, rows []TourRow) {
	n.Ratio = ratio(n.NewBytes, n.NeverSeenBytes)
	v.Board = append(v.Board, v.rows(n, rows))
}

// AddTotal puts rows on it that add up all nights to n.
func (v *Tour) AddTotal(n TourNight, rows []TourRow) {
	for i := range rows {
		rows[i].Total = true
	}
	v.rows(n, rows)
}

func (v *Tour) rows(n TourNight, rows []TourRow) TourNight {
	for _, r := range rows {
		r.Night, r.Snapshot, r.Date, r.Event = n.Night, n.Snapshot, n.Date, n.Event
		n.Checks++
		if !r.OK {
			n.Failed++
		}
		v.Scoreboard = append(v.Scoreboard, r)
	}
	v.Checks += n.Checks
	v.Failed += n.Failed
	return n
}
