package engine

// Thresholds of alert where the file says nothing. 3.5 is the usual bound of the
// modified z-score (Iglewicz & Hoaglin); the others are choices of ours.
const (
	defaultWarningScore  = 3.5
	defaultCriticalScore = 7
	defaultFloorShare    = 0.1
	defaultFloorMB       = 10
	defaultFloorFiles    = 10
	defaultNights        = 7
	defaultWarningHours  = 30 // a night that came late
	defaultCriticalHours = 54 // two nights missed
	defaultWarningCover  = 0.99
	defaultCriticalCover = 0.9
	defaultWarningFull   = 90
	defaultCriticalFull  = 30
)

func (c *checker) alert(v *fileAlert) Alert {
	if v == nil {
		v = &fileAlert{}
	}
	before := c.failed
	const hour = 3600
	score := span{0.1, 1e6, "a modified z-score"}
	share := span{0, 1, "a share (99 % is 0.99)"}
	hours := span{1, 100_000, "hours"}
	days := span{0, 100_000, "days"}
	a := Alert{
		WarningScore:         c.number("alert.warning_score", v.WarningScore, defaultWarningScore, score),
		CriticalScore:        c.number("alert.critical_score", v.CriticalScore, defaultCriticalScore, score),
		FloorShare:           c.number("alert.floor_share", v.FloorShare, defaultFloorShare, span{0, 10, "a share of the median (10 % is 0.1)"}),
		FloorBytes:           bytesOf(c.number("alert.floor_mb", v.FloorMB, defaultFloorMB, span{0, 1e9, "MB"}), 1e6),
		FloorFiles:           c.whole("alert.floor_files", v.FloorFiles, defaultFloorFiles, span{0, 1e9, "files"}),
		Nights:               int(c.whole("alert.nights", v.Nights, defaultNights, span{3, 1000, "nights"})),
		WarningAgeSeconds:    c.number("alert.warning_age_hours", v.WarningAgeHours, defaultWarningHours, hours) * hour,
		CriticalAgeSeconds:   c.number("alert.critical_age_hours", v.CriticalAgeHours, defaultCriticalHours, hours) * hour,
		WarningCoveredShare:  c.number("alert.warning_covered_share", v.WarningCoveredShare, defaultWarningCover, share),
		CriticalCoveredShare: c.number("alert.critical_covered_share", v.CriticalCoveredShare, defaultCriticalCover, share),
		WarningFullDays:      c.number("alert.warning_full_days", v.WarningFullDays, defaultWarningFull, days),
		CriticalFullDays:     c.number("alert.critical_full_days", v.CriticalFullDays, defaultCriticalFull, days),
	}
	if c.failed > before {
		return a
	}
	c.order("score", v.WarningScore != nil, a.WarningScore <= a.CriticalScore, "not below", a.WarningScore, a.CriticalScore)
	c.order("age_hours", v.WarningAgeHours != nil, a.WarningAgeSeconds <= a.CriticalAgeSeconds, "not below", a.WarningAgeSeconds/hour, a.CriticalAgeSeconds/hour)
	c.order("covered_share", v.WarningCoveredShare != nil, a.WarningCoveredShare >= a.CriticalCoveredShare, "not above", a.WarningCoveredShare, a.CriticalCoveredShare)
	c.order("full_days", v.WarningFullDays != nil, a.WarningFullDays >= a.CriticalFullDays, "not above", a.WarningFullDays, a.CriticalFullDays)
	return a
}

// order wants the critical threshold behind the warning's. Blamed is the key that
// the file holds; the other may be a default.
func (c *checker) order(what string, warningGiven, ok bool, relation string, warning, critical float64) {
	if ok {
		return
	}
	key := "alert.critical_" + what
	if _, given := c.rows[key]; !given && warningGiven {
		key = "alert.warning_" + what
	}
	c.fail(key, "warning_%s = %s and critical_%s = %s: the critical one is to be %s the warning's", what, plain(warning), what, plain(critical), relation)
}
