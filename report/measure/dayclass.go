package measure

import "time"

// Classes of day. A month-end is the last working day (Monday to Friday) of a
// month; public holidays are not known here, so a last working day that is a
// holiday is still called month-end.
const (
	Weekday  = "weekday"
	Weekend  = "weekend"
	MonthEnd = "month-end"
)

// DayClasses lists them in the order in which views show them.
var DayClasses = []string{Weekday, Weekend, MonthEnd}

// DayClass says to which class of day a night belongs. night is its local date
// (see logbook.Night); its clock time does not matter.
func DayClass(night time.Time) string {
	y, m, d := night.Date()
	day := utcDate(y, int(m), d)
	if free(day) {
		return Weekend
	}
	for next := day.AddDate(0, 0, 1); ; next = next.AddDate(0, 0, 1) {
		if next.Month() != m {
			return MonthEnd
		}
		if !free(next) {
			return Weekday
		}
	}
}

func free(day time.Time) bool { return day.Weekday() == time.Saturday || day.Weekday() == time.Sunday }
