package view

import (
	"fmt"
	"math"
	"strings"
	"time"

	"tidemark/report/units"
)

// planFull judges how soon the current plan is full. Days count from the newest
// snapshot: a forecast is as old as what it was made of, and a date that has gone by
// on this clock is no measurement.
func (j *judge) planFull() {
	if j.Plan == nil {
		return
	}
	r := AlertReason{Measure: MeasurePlanFull, Status: StatusUsual, ScoreReason: reasonThreshold}
	name := `plan "` + oneLine(j.Plan.Name) + `"`
	days := j.Plan.Days
	if days == nil {
		r.ValueReason = strings.TrimSuffix(oneLine(j.Plan.Reason), ".")
		r.Evidence = name + ": " + r.ValueReason
		j.add(r)
		return
	}
	r.Value = days
	switch {
	case *days < j.Alert.CriticalFullDays:
		r.Status = StatusCritical
	case *days < j.Alert.WarningFullDays:
		r.Status = StatusWarning
	}
	if j.Plan.Full {
		r.Evidence = fmt.Sprintf("%s is full: %s are kept, and it takes %s", name,
			j.units.Bytes(j.Plan.NowBytes), j.units.Bytes(j.Plan.CapacityBytes))
		j.add(r)
		return
	}
	r.Evidence = fmt.Sprintf("%s is forecast to be full %s, as likely before as after %s, %s after the newest snapshot",
		name, fullBetween(dateText(j.Plan.Early), j.Plan.lateDate()), dateText(j.Plan.Mid), daysWords(*days))
	if gone := j.Plan.gone(j.Now); gone != "" {
		r.Evidence += "; " + gone + " has passed since the last scan, which alone can tell what is stored now"
		if r.Status == StatusUsual {
			r.Status = StatusWarning
		}
	}
	j.add(r)
}

// gone names the latest date of the forecast that lies before now, "" where none does.
func (p *PlanFull) gone(now time.Time) string {
	if now.IsZero() {
		return ""
	}
	today := now.In(p.Taken.Location()).Format(time.DateOnly)
	last := ""
	for _, d := range []string{dateText(p.Early), dateText(p.Mid), p.lateDate()} {
		if d != "" && d < today {
			last = d
		}
	}
	return last
}

func (p *PlanFull) lateDate() string {
	if p.Late == nil {
		return ""
	}
	return dateText(*p.Late)
}

// fullBetween says when a plan is forecast to be full; late "": no end is known.
func fullBetween(early, late string) string {
	switch late {
	case "":
		return "on " + early + " at the earliest (80 % interval)"
	case early:
		return "on " + early
	}
	return "between " + early + " and " + late + " (80 % interval)"
}

func daysWords(d float64) string { return units.Seconds(math.Floor(d) * 24 * time.Hour.Seconds()) }
