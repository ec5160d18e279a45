package view

import (
	"math"
	"time"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/units"
)

// Estimate answers what a line, a store and its offers mean for the measured
// nights. A null has its reason in the field of the same name with _reason
// behind. Seed, Nightly and Restore are those of the first line; Lines has all.
// Amounts of money are in the currency beside them.
type Estimate struct {
	Schema    string   `json:"schema"`
	Answer    string   `json:"answer"`  // one short sentence, and one of the plan in use where it is forecast to run full
	Details   []string `json:"details"` // and what it stands on, a sentence or two each
	Snapshots int      `json:"snapshots"`
	Nights    int      `json:"nights"`  // measured, spanned steps included
	Spanned   int      `json:"spanned"` // of them, steps over several dates
	LastNight string   `json:"last_night"`
	Zone      string   `json:"zone"`

	Seed    EstimateSeed     `json:"seed"`
	Nightly EstimateNightly  `json:"nightly"`
	Restore EstimateRestore  `json:"restore"`
	Lines   []EstimateLine   `json:"lines"`
	Promise EstimatePromise  `json:"promise"`
	Keep    EstimateKeep     `json:"keep"`
	Plans   []EstimatePlan   `json:"plans"`
	Choices []EstimateChoice `json:"choices"`

	Refused  []EstimateRefusal `json:"refused"`
	Assumed  []string          `json:"assumed"`
	Backtest *EstimateBacktest `json:"backtest,omitempty"` // where it was asked for
	Notes    []string          `json:"notes"`

	Units units.System `json:"-"`
}

// EstimateRefusal is a question that the nights measured so far can't answer.
type EstimateRefusal struct {
	Question     string `json:"question"`
	Reason       string `json:"reason"`
	NightsNeeded *int   `json:"nights_needed"` // in all
	NightsReason string `json:"nights_needed_reason,omitempty"`
}

// EstimateLine is the answers over one line.
type EstimateLine struct {
	Name              string          `json:"name"`
	UpBitsPerSecond   int64           `json:"up_bits_per_second"`
	DownBitsPerSecond int64           `json:"down_bits_per_second"` // 0: not given
	EfficiencyShare   float64         `json:"efficiency_share"`     // of those rates that is payload
	EfficiencyDerived bool            `json:"efficiency_derived"`   // from the sizes of frames, not given
	MonthlyCost       float64         `json:"monthly_cost"`         // of the line alone; 0: nothing, or not given
	HorizonCost       *float64        `json:"horizon_cost"`
	HorizonCostReason string          `json:"horizon_cost_reason,omitempty"`
	Currency          string          `json:"currency"`
	Seed              EstimateSeed    `json:"seed"`
	Nightly           EstimateNightly `json:"nightly"`
	Restore           EstimateRestore `json:"restore"`
}

// EstimateSeed is the first upload, with little, middling and much change a night.
type EstimateSeed struct {
	Seconds       *float64 `json:"seconds"` // from the first window's opening, waiting included
	SecondsReason string   `json:"seconds_reason,omitempty"`
	Nights        *int     `json:"nights"` // the night, counted from 1, in which it ends
	NightsReason  string   `json:"nights_reason,omitempty"`
	Never         *bool    `json:"never"`
	NeverReason   string   `json:"never_reason,omitempty"`

	LowSeconds        *float64   `json:"low_seconds"`
	LowSecondsReason  string     `json:"low_seconds_reason,omitempty"`
	HighSeconds       *float64   `json:"high_seconds"`
	HighSecondsReason string     `json:"high_seconds_reason,omitempty"`
	LowNights         *int       `json:"low_nights"`
	LowNightsReason   string     `json:"low_nights_reason,omitempty"`
	HighNights        *int       `json:"high_nights"`
	HighNightsReason  string     `json:"high_nights_reason,omitempty"`
	Start             *time.Time `json:"start"`
	StartReason       string     `json:"start_reason,omitempty"`
	UploadBytes       int64      `json:"upload_bytes"`
	NightlyBytes      *int64     `json:"nightly_bytes"` // what a night adds meanwhile
	NightlyReason     string     `json:"nightly_bytes_reason,omitempty"`
	WindowBytes       int64      `json:"window_bytes"` // what one night's window can send, mean of a year
	OverCap           bool       `json:"over_cap"`     // a calendar month of it sends more than the line's cap
}

// EstimateNightly is what the measured nights would have been.
type EstimateNightly struct {
	MedianSeconds       *float64        `json:"median_seconds"`
	MedianReason        string          `json:"median_seconds_reason,omitempty"`
	MedianLowSeconds    *float64        `json:"median_low_seconds"`
	MedianLowReason     string          `json:"median_low_seconds_reason,omitempty"`
	MedianHighSeconds   *float64        `json:"median_high_seconds"`
	MedianHighReason    string          `json:"median_high_seconds_reason,omitempty"`
	P90Seconds          *float64        `json:"p90_seconds"`
	P90Reason           string          `json:"p90_seconds_reason,omitempty"`
	P90LowSeconds       *float64        `json:"p90_low_seconds"`
	P90LowReason        string          `json:"p90_low_seconds_reason,omitempty"`
	P90HighSeconds      *float64        `json:"p90_high_seconds"`
	P90HighReason       string          `json:"p90_high_seconds_reason,omitempty"`
	LongestSeconds      *float64        `json:"longest_seconds"`
	LongestReason       string          `json:"longest_seconds_reason,omitempty"`
	FitsShare           *float64        `json:"fits_share"`
	FitsReason          string          `json:"fits_share_reason,omitempty"`
	FitsLowShare        *float64        `json:"fits_low_share"` // exact binomial interval, 80 %
	FitsLowReason       string          `json:"fits_low_share_reason,omitempty"`
	FitsHighShare       *float64        `json:"fits_high_share"`
	FitsHighReason      string          `json:"fits_high_share_reason,omitempty"`
	BacklogShare        *float64        `json:"backlog_share"` // nights that begin with something left over
	BacklogReason       string          `json:"backlog_share_reason,omitempty"`
	BacklogMostBytes    int64           `json:"backlog_most_bytes"`
	SmallestUp          *int64          `json:"smallest_up_bits_per_second"`
	SmallestUpReason    string          `json:"smallest_up_bits_per_second_reason,omitempty"`
	GoalShare           float64         `json:"goal_share"` // of nights that are meant to end in time
	Runs                []EstimateRun   `json:"runs"`
	ByClass             []EstimateClass `json:"by_class"`
	Limits              []EstimateLimit `json:"limits"`
	Months              []EstimateMonth `json:"months"`
	NextMonthLowBytes   *int64          `json:"next_month_low_bytes"`
	NextMonthLowReason  string          `json:"next_month_low_bytes_reason,omitempty"`
	NextMonthBytes      *int64          `json:"next_month_bytes"`
	NextMonthReason     string          `json:"next_month_bytes_reason,omitempty"`
	NextMonthHighBytes  *int64          `json:"next_month_high_bytes"`
	NextMonthHighReason string          `json:"next_month_high_bytes_reason,omitempty"`
	CapBytes            int64           `json:"cap_bytes"` // of a calendar month; 0: none
	OverCapShare        *float64        `json:"over_cap_share"`
	OverCapReason       string          `json:"over_cap_share_reason,omitempty"`

	Fits, Nights int `json:"-"`
	Partial      int `json:"-"`
}

// EstimateRun is one measured night played on the line.
type EstimateRun struct {
	Night         string     `json:"night"`
	DayClass      string     `json:"day_class"`
	Spanned       int        `json:"spanned"`
	Start         time.Time  `json:"start"`
	Deadline      time.Time  `json:"deadline"`
	End           *time.Time `json:"end"`
	EndReason     string     `json:"end_reason,omitempty"`
	Seconds       *float64   `json:"seconds"`
	SecondsReason string     `json:"seconds_reason,omitempty"`
	Fits          bool       `json:"fits"`
	Skipped       bool       `json:"window_skipped"` // the clocks go forward over the whole window
	UploadBytes   int64      `json:"upload_bytes"`
	BacklogBytes  int64      `json:"backlog_bytes"`
}

// EstimateClass is the run on one class of day.
type EstimateClass struct {
	DayClass      string   `json:"day_class"`
	Nights        int      `json:"nights"`
	MedianSeconds *float64 `json:"median_seconds"`
	MedianReason  string   `json:"median_seconds_reason,omitempty"`
	MedianBytes   *int64   `json:"median_upload_bytes"`
	BytesReason   string   `json:"median_upload_bytes_reason,omitempty"`
}

// EstimateLimit is what the nights would be without one of the line's limits.
type EstimateLimit struct {
	Limit            string   `json:"limit"`
	FitsNights       int      `json:"without_fits_nights"`
	MedianSeconds    *float64 `json:"without_median_seconds"`
	MedianReason     string   `json:"without_median_seconds_reason,omitempty"`
	SmallestUp       *int64   `json:"without_smallest_up_bits_per_second"`
	SmallestUpReason string   `json:"without_smallest_up_bits_per_second_reason,omitempty"`
}

// EstimateMonth is what measured nights of one month sent.
type EstimateMonth struct {
	Month       string `json:"month"`
	Nights      int    `json:"nights"`
	Complete    bool   `json:"complete"`
	UploadBytes int64  `json:"upload_bytes"`
	OverCap     bool   `json:"over_cap"`
}

// EstimateRestore is everything, the top folders, and the paths asked for.
type EstimateRestore struct {
	AllSeconds        *float64          `json:"all_seconds"`
	AllReason         string            `json:"all_seconds_reason,omitempty"`
	LowSeconds        *float64          `json:"all_low_seconds"`
	LowReason         string            `json:"all_low_seconds_reason,omitempty"`
	HighSeconds       *float64          `json:"all_high_seconds"`
	HighReason        string            `json:"all_high_seconds_reason,omitempty"`
	Bottleneck        *string           `json:"bottleneck"` // line, requests, disk or files
	BottleneckReason  string            `json:"bottleneck_reason,omitempty"`
	Folders           []EstimateFetched `json:"folders"`
	OtherFolders      int               `json:"other_folders"`
	Paths             []EstimateFetched `json:"paths"`
	All               *EstimateFetched  `json:"-"`
	Shown             []EstimateFetched `json:"-"`                   // of Folders, as a person is shown them beside Paths
	Hidden            int               `json:"-"`                   // folders that are in neither
	HumanDelaySeconds float64           `json:"human_delay_seconds"` // in every figure
}

// EstimateFetched is the restore of one tree.
type EstimateFetched struct {
	Name
	Seconds       float64 `json:"seconds"`
	LowSeconds    float64 `json:"low_seconds"`
	HighSeconds   float64 `json:"high_seconds"`
	Bottleneck    string  `json:"bottleneck"`
	Started       float64 `json:"-"` // Seconds and HighSeconds without what passes until somebody starts it
	StartedHigh   float64 `json:"-"`
	StartedLow    float64 `json:"-"`
	DownloadBytes int64   `json:"download_bytes"`
	Requests      int64   `json:"requests"`
	Files         int64   `json:"files"`
	WriteBytes    int64   `json:"write_bytes"`

	// Each part alone; they go on beside each other at best.
	LineSeconds    float64 `json:"line_seconds"`
	RequestSeconds float64 `json:"request_seconds"`
	DiskSeconds    float64 `json:"disk_seconds"`
	FileSeconds    float64 `json:"file_seconds"`
}

// EstimatePromise is what holds whatever the nights' distribution, as long as
// they come in no particular order.
type EstimatePromise struct {
	Nights           int     `json:"nights"`
	NextWithinShare  float64 `json:"next_within_largest_share"` // the next night asks no more than the largest so far
	MonthWithinShare float64 `json:"next_30_within_largest_share"`
	MonthNights      int     `json:"next_30_nights_needed"` // until that is 80 %
}

// EstimateKeep is what the retention needs in the store.
type EstimateKeep struct {
	NowBytes     *int64          `json:"now_bytes"`
	NowReason    string          `json:"now_bytes_reason,omitempty"`
	Policy       string          `json:"policy"`
	Versions     []EstimateKept  `json:"versions"`
	More         []EstimateMore  `json:"more"`
	Horizon      []EstimatePoint `json:"horizon"`
	HorizonEnd   *string         `json:"horizon_end"`
	EndReason    string          `json:"horizon_end_reason,omitempty"`
	Why          string          `json:"horizon_reason,omitempty"` // why there is none, or why it ends early
	LongestDays  int             `json:"longest_age_days"`         // seen of anything whose birth was measured
	LivesShare   *float64        `json:"lives_to_longest_share"`   // of new bytes, that are still there at that age
	LivesReason  string          `json:"lives_to_longest_share_reason,omitempty"`
	BridgedShare float64         `json:"returned_share"` // of new bytes, that went away and came back

	Exact    bool            `json:"exact"` // now_bytes and more_bytes are measured to the byte: no part sampled, modelled or taken uncompressed
	Shown    []EstimatePoint `json:"-"`     // of Horizon
	Every    int             `json:"-"`     // which of Horizon\'s points Shown has, the last aside: 1 all, 2 every second
	Scenario bool            `json:"-"`     // some point is one
}

// EstimateKept is one snapshot that the retention still holds.
type EstimateKept struct {
	Snapshot  int    `json:"snapshot"`
	Night     string `json:"night"`
	OnlyBytes int64  `json:"only_here_bytes"` // what dropping this one alone would free
}

// EstimateMore is what one bucket more of a rule would have cost.
type EstimateMore struct {
	Rule   string `json:"rule"`
	Count  int    `json:"count"`
	Bytes  *int64 `json:"more_bytes"`
	Reason string `json:"more_bytes_reason,omitempty"`
}

// EstimatePoint is the stored size on one date.
type EstimatePoint struct {
	Date      string `json:"date"`
	LowBytes  int64  `json:"low_bytes"`
	MidBytes  *int64 `json:"mid_bytes"`
	MidReason string `json:"mid_bytes_reason,omitempty"`
	HighBytes int64  `json:"high_bytes"`
	Scenario  bool   `json:"scenario"` // from "all dies at the longest age seen" to "none does"
}

// EstimatePlan is what one offer means for these nights. Costs are the store's alone.
type EstimatePlan struct {
	Name        string   `json:"name"`
	Current     bool     `json:"current"`
	Fits        bool     `json:"fits"`
	FitsNow     bool     `json:"fits_now"`
	FitsShare   *float64 `json:"fits_share"` // of drawn futures, to the horizon
	FitsReason  string   `json:"fits_share_reason,omitempty"`
	FullOn      *string  `json:"full_on"`
	FullReason  string   `json:"full_on_reason,omitempty"`
	FullEarly   *string  `json:"full_early"`
	EarlyReason string   `json:"full_early_reason,omitempty"`
	FullLate    *string  `json:"full_late"`
	LateReason  string   `json:"full_late_reason,omitempty"`

	MonthlyCost       float64  `json:"monthly_cost"` // at today's stored size
	HorizonCost       *float64 `json:"horizon_cost"` // median
	HorizonReason     string   `json:"horizon_cost_reason,omitempty"`
	HorizonLowCost    *float64 `json:"horizon_low_cost"`
	HorizonLowReason  string   `json:"horizon_low_cost_reason,omitempty"`
	HorizonHighCost   *float64 `json:"horizon_high_cost"`
	HorizonHighReason string   `json:"horizon_high_cost_reason,omitempty"`
	StorageCost       float64  `json:"storage_cost"`
	DownloadCost      float64  `json:"download_cost"`
	RequestCost       float64  `json:"request_cost"`
	EarlyCost         float64  `json:"early_deletion_most_cost"` // in horizon_high_cost only
	Currency          string   `json:"currency"`
	CapacityBytes     int64    `json:"capacity_bytes"` // 0: no limit
}

// EstimateChoice is the cheapest plan that fits.
type EstimateChoice struct {
	Plan     string          `json:"plan"`
	Currency string          `json:"currency"`
	Sentence string          `json:"sentence"`
	WinShare float64         `json:"win_share"` // of drawn futures in which it is the cheapest
	Changes  []string        `json:"changes"`
	Totals   []EstimateTotal `json:"totals"`
}

// EstimateTotal is a plan and a line together.
type EstimateTotal struct {
	Line              string   `json:"line"`
	MonthlyCost       float64  `json:"monthly_cost"`
	HorizonLowCost    *float64 `json:"horizon_low_cost"`
	HorizonLowReason  string   `json:"horizon_low_cost_reason,omitempty"`
	HorizonCost       *float64 `json:"horizon_cost"`
	HorizonReason     string   `json:"horizon_cost_reason,omitempty"`
	HorizonHighCost   *float64 `json:"horizon_high_cost"`
	HorizonHighReason string   `json:"horizon_high_cost_reason,omitempty"`
}

// EstimateBacktest is how forecasts of hidden nights fared.
type EstimateBacktest struct {
	HiddenNights int             `json:"hidden_nights"`
	Scores       []EstimateScore `json:"scores"`
	Reason       string          `json:"reason,omitempty"` // why there are none
}

// EstimateScore is one question's.
type EstimateScore struct {
	Question         string   `json:"question"`
	Words            string   `json:"words"`
	NominalShare     float64  `json:"nominal_share"`
	Forecasts        int      `json:"forecasts"`
	Covered          int      `json:"covered"`
	Below            int      `json:"below"` // the truth was below the interval
	Above            int      `json:"above"`
	CoveredShare     *float64 `json:"covered_share"`
	CoveredReason    string   `json:"covered_share_reason,omitempty"`
	CoveredLowShare  float64  `json:"covered_low_share"` // exact binomial interval, 80 %
	CoveredHighShare float64  `json:"covered_high_share"`
}

// EstimateParts is what the view is made of. Needs is never nil.
type EstimateParts struct {
	Result   *estimate.Result
	Needs    *engine.Needs
	Given    bool               // a needs file was given
	Backtest *estimate.Backtest // nil: not asked for
	Trees    *estimate.Input    // what was gathered
}

func dateText(t time.Time) string { return t.Format(time.DateOnly) }

func dateOrNil(t *time.Time) *string {
	if t == nil {
		return nil
	}
	s := dateText(*t)
	return &s
}

// whole rounds bytes.
func whole(f float64) int64 { return int64(math.Round(f)) }

// money rounds an amount to a hundredth of a hundredth: bills do no better. What
// would round to nothing stays as it is, since it costs something.
func money(f float64) float64 {
	if r := math.Round(f*1e4) / 1e4; r != 0 {
		return r
	}
	return f
}

func moneyOrNil(f *float64) *float64 {
	if f == nil {
		return nil
	}
	m := money(*f)
	return &m
}
