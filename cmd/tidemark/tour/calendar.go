package tour

import "time"

// Nights is the number of nights after the baseline. Night 0 lays the tree
// out, night 1 is Monday 2026-03-09, night 28 Sunday 2026-04-05.
const Nights = 28

// The clocks of the place (Europe/Berlin) went from +01:00 to +02:00 at this
// moment. A fixed table of one row: the example must not change with a zone
// database. Times before the scenario are told in +01:00 too; only their
// instants matter.
var clockChange = time.Date(2026, time.March, 29, 1, 0, 0, 0, time.UTC)

var (
	winter = time.FixedZone("CET", 1*3600)
	summer = time.FixedZone("CEST", 2*3600)
)

// local is a time of day on the local date of night n. Hours beyond 23 are
// those of the next date.
func local(n, hour, minute int) time.Time {
	at := func(z *time.Location) time.Time {
		return time.Date(2026, time.March, 8+n, hour, minute, 0, 0, z)
	}
	if t := at(winter); t.Before(clockChange) {
		return t
	}
	return at(summer)
}

// date is the local date a night belongs to: the one on whose evening it
// begins.
func date(n int) time.Time { return time.Date(2026, time.March, 8+n, 0, 0, 0, 0, time.UTC) }

// taken is when a night's scan runs.
func taken(n int) time.Time { return local(n, 24+1, 30) }

func weekday(n int) time.Weekday { return date(n).Weekday() }

func working(n int) bool { return weekday(n) != time.Saturday && weekday(n) != time.Sunday }

// Event is the one thing that sets a night apart.
type Event string

const (
	FolderUnreadable Event = "folder_unreadable"
	FolderBack       Event = "folder_back"
	LogRenamed       Event = "log_renamed"
	LogCompressed    Event = "log_compressed"
	TimePutBack      Event = "time_put_back"
	RunMissed        Event = "run_missed"
	AfterMissedRun   Event = "after_missed_run"
	RootJoined       Event = "root_joined"
	FolderRenamed    Event = "folder_renamed"
	PicturesImported Event = "pictures_imported"
	ClockChanged     Event = "clock_changed"
	MonthEnd         Event = "month_end"
	FolderScrambled  Event = "folder_scrambled"
	FolderRestored   Event = "folder_restored"
)

var events = map[int]Event{
	3:  FolderUnreadable,
	4:  FolderUnreadable,
	5:  FolderBack,
	9:  LogRenamed,
	10: LogCompressed,
	11: TimePutBack,
	12: RunMissed,
	13: AfterMissedRun,
	15: RootJoined,
	16: FolderRenamed,
	17: PicturesImported,
	21: ClockChanged,
	23: MonthEnd,
	25: FolderScrambled,
	26: FolderRestored,
}

// EventNight returns the first night of an event, or −1 for an unknown one.
func EventNight(e Event) int {
	for n := 1; n <= Nights; n++ {
		if events[n] == e {
			return n
		}
	}
	return -1
}

var stories = map[Event]string{
	FolderUnreadable: "The folder of delivery notes cannot be read tonight, while work in it goes on.",
	FolderBack:       "The folder of delivery notes can be read again, with the changes made meanwhile.",
	LogRenamed:       "The kiln's log was renamed and a fresh one begun.",
	LogCompressed:    "The log renamed the night before was compressed; its plain form is gone.",
	TimePutBack:      "The encrypted container was written to and its time of change put back, as some programs do.",
	RunMissed:        "The machine was off: no scan ran tonight.",
	AfterMissedRun:   "The first scan after a missed one: it finds the changes of both nights at once.",
	RootJoined:       "The share of the office annex is measured from tonight on.",
	FolderRenamed:    "A large folder of site pictures was renamed; nothing in it was changed.",
	PicturesImported: "Pictures came in from a telephone; some of them were there already under other names.",
	ClockChanged:     "The clocks went forward, and the drive with part of the old work shows all its times moved; its contents are the same.",
	MonthEnd:         "The month's last working day: invoices, closing entries and the month's papers.",
	FolderScrambled:  "Most drawings were replaced by files of incompressible data under new names.",
	FolderRestored:   "The lost drawings were restored from a copy and the files put in their place removed.",
}

// story tells what was done to the tree in plain words, without figures.
func story(n int) string {
	var habit string
	switch {
	case n == 0:
		return "The share as it stood when measuring began."
	case weekday(n) == time.Saturday:
		habit = "A Saturday: only the machines write (the machine image, log, dumps and thumbnails)."
	case weekday(n) == time.Sunday:
		habit = "A Sunday: the machines write, and the ledger is compacted, its pages put into another order."
	default:
		habit = "A working day: letters rewritten, drawings edited, ledger pages written, new delivery notes and cutting lists."
	}
	if e := events[n]; e != "" {
		return stories[e] + " " + habit
	}
	return habit
}

// Story tells in plain words, without figures, what an event does to the tree;
// "" for an unknown one.
func Story(e Event) string { return stories[e] }
