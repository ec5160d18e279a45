package estimate

import (
	"cmp"
	"slices"
	"time"

	"tidemark/report/engine"
)

// Plan is what one offer of storage means for these nights. Its costs are the
// store's alone: what a line costs is said with the line, both in Choice.Totals.
type Plan struct {
	Name     string
	Currency string
	Current  bool

	// Fits: the store stays within the capacity to the end of the forecast in
	// at least FitsEnough of the drawn futures; where there is no forecast, it does today.
	Fits      bool
	FitsNow   bool
	FitsShare *float64 // of the drawn futures; nil where there is no forecast

	Full    *FullRange // nil: see WhyFull
	WhyFull string

	MonthlyCost float64 // at today's stored size
	HorizonCost *Range  // to the end of the forecast, everything below included; nil: see WhyCost
	WhyCost     string

	// Parts of HorizonCost.
	StorageCost, DownloadCost, RequestCost float64
	// EarlyDeletionBound: minimum storage days cost at most this over the
	// horizon and may cost nothing. Of HorizonCost it is in High only.
	EarlyDeletionBound float64
}

// FullRange is when a plan is full: the 80 % interval over the drawn futures in
// which it fills before the horizon ends.
type FullRange struct {
	Early time.Time
	Mid   *time.Time // nil: in fewer than half of the futures before the horizon ends
	Late  *time.Time // nil: in fewer than nine of ten
}

// FitsEnough: a plan that fills in more than one future of ten does not fit.
const FitsEnough = 0.9

// Choice is the cheapest plan that fits, and what would change that.
type Choice struct {
	Plan     int     // index in Result.Plans
	Currency string  // of the plans compared; each currency has its own choice
	RunnerUp *int    // the next cheapest that fits; nil: no other does
	WinShare float64 // share of drawn futures in which Plan is the cheaper of the two; 1 without a runner-up
	Changes  []Turn
	Totals   []Total // with each line that has a price in this currency, in the lines' order
}

// Total is what a plan and a line cost together.
type Total struct {
	Line    int // index in Result.Lines
	Monthly float64
	Horizon *Range // nil: there is no forecast
}

// total adds the lines' prices to the chosen plan's.
func (c *Choice) total(r *Result) {
	p := &r.Plans[c.Plan]
	for i := range r.Lines {
		l := &r.Lines[i]
		if l.MonthlyPrice == 0 || l.Currency != c.Currency {
			continue
		}
		t := Total{Line: i, Monthly: p.MonthlyCost + l.MonthlyPrice}
		if h := p.HorizonCost; h != nil && l.HorizonPrice != nil {
			t.Horizon = &Range{h.Low + *l.HorizonPrice, h.Mid + *l.HorizonPrice, h.High + *l.HorizonPrice}
		}
		c.Totals = append(c.Totals, t)
	}
}

// Turn is a change of circumstances that makes another plan the cheapest that fits.
type Turn struct {
	What string  // TurnStored: stored bytes times At; TurnRestores: At whole restores a year
	At   float64 // the value nearest to today's at which it turns
	Plan *int    // cheapest from there on; nil: none fits
}

// What a Turn turns on.
const (
	TurnStored   = "stored"
	TurnRestores = "restores"
)

// monthDays is the mean length of a month in the Gregorian calendar: 365.2425/12.
const monthDays = 365.2425 / 12

const tb = 1e12

// bill is what plans are charged for: stored sizes over time, and use.
type bill struct {
	now      float64
	today    time.Time // date of the last night
	days     []float64 // of each point, from now on; empty without a forecast
	requests float64   // of the first upload
	perByte  float64   // requests a stored byte uploaded
	restore  float64   // bytes of a whole restore
	fetches  float64   // requests of a whole restore
	perYear  float64
	stay     int // days that the retention keeps every night's snapshot at least; −1: for good
}

// plans compares the offers. fate is nil where there is no forecast.
func plans(in *Input, needs *engine.Needs, k *Keep, f *fate, refused *refusals) ([]Plan, []Choice) {
	if len(needs.Plans) == 0 {
		return nil, nil
	}
	if k == nil {
		refused.add("plans", "no plan can be judged: what the retention needs was not measured.", 0)
		return nil, nil
	}
	b := newBill(in, needs, k, f)
	out := make([]Plan, len(needs.Plans))
	costs := make([][]float64, len(needs.Plans))
	for i := range needs.Plans {
		out[i], costs[i] = b.judge(&needs.Plans[i], k, f)
	}
	order := make([]int, len(out))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int {
		return cmp.Or(-compareBool(out[x].Fits, out[y].Fits), -compareBool(out[x].FitsNow, out[y].FitsNow),
			cmp.Compare(firstOf(needs.Plans, out[x].Currency), firstOf(needs.Plans, out[y].Currency)),
			cmp.Compare(out[x].price(), out[y].price()))
	})
	sorted := make([]Plan, len(out))
	offers := make([]engine.Plan, len(out))
	ranked := make([][]float64, len(out))
	for i, at := range order {
		sorted[i], offers[i], ranked[i] = out[at], needs.Plans[at], costs[at]
	}
	return sorted, b.choices(sorted, offers, ranked, f)
}

func compareBool(x, y bool) int {
	switch {
	case x == y:
		return 0
	case x:
		return 1
	}
	return -1
}

func firstOf(plans []engine.Plan, currency string) int {
	return slices.IndexFunc(plans, func(p engine.Plan) bool { return p.Currency == currency })
}

// price is what plans are sorted by: over the horizon where that is known.
func (p *Plan) price() float64 {
	if p.HorizonCost != nil {
		return p.HorizonCost.Mid
	}
	return p.MonthlyCost
}

func newBill(in *Input, needs *engine.Needs, k *Keep, f *fate) *bill {
	_, packed, _ := in.All.packed()
	b := &bill{now: float64(k.NowBytes), today: Night(in.Taken[len(in.Taken)-1]), perYear: needs.Restore.PerYear, restore: packed}
	b.fetches = requests(&in.All, packed, needs.Profile, in.MeanChunkBytes)
	b.requests = b.fetches
	if packed > 0 {
		b.perByte = b.fetches / packed
	}
	b.stay = max(1, k.Policy.Last, k.Policy.Daily)
	if k.Policy.All {
		b.stay = -1
	} else if k.CapBytes > 0 {
		b.stay = 1
	}
	if f != nil {
		for i := range f.targets {
			b.days = append(b.days, float64(f.targets[i].day-f.from))
		}
	}
	return b
}

func monthly(p *engine.Plan, stored float64) float64 {
	return p.MonthlyPrice + p.PricePerTBMonth*max(stored, float64(p.MinimumBilledBytes))/tb
}

// cost over the horizon of one future: the stored sizes at each point times scale.
// Storage is billed by the day, sizes in between on a straight line.
func (b *bill) cost(p *engine.Plan, stored func(i int) float64, uploaded, scale, perYear float64) (storage, download, request float64) {
	day, before := 0.0, monthly(p, b.now*scale)
	for i, at := range b.days {
		after := monthly(p, stored(i)*scale)
		storage += (before + after) / 2 * (at - day) / monthDays
		day, before = at, after
	}
	restores := perYear * day / (12 * monthDays)
	download = restores * b.restore * scale / tb * p.DownloadPricePerTB
	asked := restores*b.fetches*scale + uploaded*scale*b.perByte
	if !p.Current {
		asked += b.requests * scale
	}
	return storage, download, asked / 1e6 * p.PricePerMillionRequest
}

// judge answers for one plan and gives its cost in each replicate (of the middle
// between the scenarios), nil without a forecast.
func (b *bill) judge(p *engine.Plan, k *Keep, f *fate) (Plan, []float64) {
	out := Plan{Name: p.Name, Currency: p.Currency, Current: p.Current}
	capacity := float64(p.CapacityBytes)
	out.FitsNow = capacity == 0 || b.now <= capacity
	out.Fits = out.FitsNow
	switch {
	case !out.FitsNow:
		out.Full = &FullRange{Early: b.today, Mid: &b.today, Late: &b.today}
		if none := 0.0; f != nil {
			out.FitsShare = &none
		}
	case f != nil:
		out.full(f, capacity, b.now)
	case capacity > 0:
		out.WhyFull = k.WhyHorizon
	}
	if capacity == 0 {
		out.WhyFull = "the plan has no limit"
	}
	out.MonthlyCost = monthly(p, b.now)
	if f == nil {
		out.WhyCost = k.WhyHorizon
		return out, nil
	}
	last := len(f.targets) - 1
	low, mid, high := make([]float64, replicates), make([]float64, replicates), make([]float64, replicates)
	total := func(storage, download, request float64) float64 { return storage + download + request }
	for r := range replicates {
		uploaded := f.uploads[last][r]
		low[r] = total(b.cost(p, func(i int) float64 { return f.die[i][r] }, uploaded, 1, b.perYear))
		high[r] = total(b.cost(p, func(i int) float64 { return f.live[i][r] }, uploaded, 1, b.perYear))
		mid[r] = total(b.cost(p, func(i int) float64 { return f.middle(i, r) }, uploaded, 1, b.perYear))
	}
	out.EarlyDeletionBound = b.early(p, f)
	out.HorizonCost = &Range{rangeOf(low, f.share).Low, median(mid), rangeOf(high, f.share).High + out.EarlyDeletionBound}
	out.StorageCost, out.DownloadCost, out.RequestCost = b.cost(p, f.median, median(f.uploads[last]), 1, b.perYear)
	return out, mid
}

func (f *futures) middle(target, replicate int) float64 {
	return (f.die[target][replicate] + f.live[target][replicate]) / 2
}

// median of a target over the replicates, between the scenarios.
func (f *futures) median(target int) float64 {
	if f.medians == nil {
		f.medians = make([]float64, len(f.targets))
		for i := range f.targets {
			f.medians[i] = (median(f.die[i]) + median(f.live[i])) / 2
		}
	}
	return f.medians[target]
}

// full finds when each future goes beyond the capacity, on a straight line between points.
func (p *Plan) full(f *fate, capacity, now float64) {
	share := 1.0
	p.FitsShare = &share
	if capacity == 0 {
		return
	}
	early, late := make([]float64, replicates), make([]float64, replicates)
	never := float64(f.targets[len(f.targets)-1].day + 1)
	fits := 0
	crossing := func(sizes [][]float64, r int) float64 {
		day, before := float64(f.from), now
		for i := range f.targets {
			at, after := float64(f.targets[i].day), sizes[i][r]
			if after > capacity {
				return day + (at-day)*(capacity-before)/(after-before)
			}
			day, before = at, after
		}
		return never
	}
	for r := range replicates {
		early[r], late[r] = crossing(f.live, r), crossing(f.die, r)
		if early[r] == never {
			fits++
		}
	}
	share = float64(fits) / replicates
	p.Fits = share >= FitsEnough
	first, last := rangeOf(early, f.share), rangeOf(late, f.share)
	date := func(day float64) *time.Time {
		if day >= never {
			return nil
		}
		t := dateOfNumber(int(day)).utc()
		return &t
	}
	if d := date(first.Low); d != nil {
		p.Full = &FullRange{Early: *d, Mid: date((first.Mid + last.Mid) / 2), Late: date(last.High)}
		if first.Mid >= never || last.Mid >= never {
			p.Full.Mid = nil
		}
		return
	}
	p.WhyFull = "not before " + dateOfNumber(int(never)-1).utc().Format(time.DateOnly) + ", where the forecast ends, in at least nine of ten drawn futures"
}

// early bounds what minimum storage days cost: as if every new byte of the
// horizon went as soon as the retention lets it go, at the high end of the
// uploads, and was billed on to its minimum age.
func (b *bill) early(p *engine.Plan, f *fate) float64 {
	if b.stay < 0 || p.MinimumStorageDays <= b.stay {
		return 0
	}
	uploaded := rangeOf(f.uploads[len(f.targets)-1], f.share).High
	if !p.Current {
		uploaded += b.now
	}
	return uploaded / tb * p.PricePerTBMonth * float64(p.MinimumStorageDays-b.stay) / monthDays
}

// choices finds the cheapest that fits in each currency.
func (b *bill) choices(plans []Plan, offers []engine.Plan, costs [][]float64, f *fate) []Choice {
	var out []Choice
	for i := range plans {
		if !plans[i].Fits || slices.ContainsFunc(out, func(c Choice) bool { return c.Currency == plans[i].Currency }) {
			continue
		}
		c := Choice{Plan: i, Currency: plans[i].Currency, WinShare: 1}
		for j := i + 1; j < len(plans); j++ {
			if plans[j].Fits && plans[j].Currency == c.Currency {
				c.RunnerUp = &j
				break
			}
		}
		if f != nil {
			if c.RunnerUp != nil {
				wins := 0
				for r, cost := range costs[i] {
					if cost <= costs[*c.RunnerUp][r] {
						wins++
					}
				}
				c.WinShare = float64(wins) / replicates
			}
			c.Changes = b.turns(i, plans, offers, f)
		}
		out = append(out, c)
	}
	return out
}

// Bounds of the search for turns.
const (
	turnFactor   = 16 // stored bytes up and down
	turnRestores = 52 // whole restores a year
	turnSteps    = 200
)

// turns looks up and down from today for the nearest change of the answer.
func (b *bill) turns(choice int, plans []Plan, offers []engine.Plan, f *fate) []Turn {
	uploaded := median(f.uploads[len(f.targets)-1])
	peaks := make([]float64, replicates)
	for r := range peaks {
		peaks[r] = b.now
		for i := range f.targets {
			peaks[r] = max(peaks[r], f.live[i][r])
		}
	}
	slices.Sort(peaks)
	fits := func(capacity, scale float64) bool {
		within, _ := slices.BinarySearchFunc(peaks, capacity, func(peak, capacity float64) int {
			if peak*scale <= capacity {
				return -1
			}
			return 1
		})
		return capacity == 0 || float64(within)/replicates >= FitsEnough
	}
	cheapest := func(scale, perYear float64) int {
		best, lowest := -1, 0.0
		for i := range plans {
			if plans[i].Currency != plans[choice].Currency {
				continue
			}
			if !fits(float64(offers[i].CapacityBytes), scale) {
				continue
			}
			storage, download, request := b.cost(&offers[i], f.median, uploaded, scale, perYear)
			if cost := storage + download + request; best < 0 || cost < lowest {
				best, lowest = i, cost
			}
		}
		return best
	}
	var out []Turn
	turn := func(what string, value func(x float64) (at float64, best int)) {
		_, today := value(0)
		if today != choice {
			return // too close to call: WinShare says so
		}
		before := 0.0
		for i := 1; i <= turnSteps; i++ {
			x := float64(i) / turnSteps
			if _, best := value(x); best == today {
				before = x
				continue
			}
			for range 40 {
				mid := (before + x) / 2
				if _, best := value(mid); best == today {
					before = mid
				} else {
					x = mid
				}
			}
			at, best := value(x)
			t := Turn{What: what, At: at}
			if best >= 0 {
				t.Plan = &best
			}
			out = append(out, t)
			return
		}
	}
	turn(TurnStored, func(x float64) (float64, int) {
		scale := 1 + x*(turnFactor-1)
		return scale, cheapest(scale, b.perYear)
	})
	turn(TurnStored, func(x float64) (float64, int) {
		scale := 1 / (1 + x*(turnFactor-1))
		return scale, cheapest(scale, b.perYear)
	})
	turn(TurnRestores, func(x float64) (float64, int) {
		perYear := b.perYear + x*turnRestores
		return perYear, cheapest(1, perYear)
	})
	if b.perYear > 0 {
		turn(TurnRestores, func(x float64) (float64, int) {
			perYear := b.perYear * (1 - x)
			return perYear, cheapest(1, perYear)
		})
	}
	return out
}
