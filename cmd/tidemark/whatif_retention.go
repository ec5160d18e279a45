package main

import (
	"fmt"
	"strconv"
	"strings"

	"tidemark/report/engine"
	"tidemark/report/units"
)

// parseRetention reads what is kept, as "daily=7,weekly=4,monthly=12", with the
// keys of the needs file's [retention]; "everything"; or "last=30,cap=500GB".
func parseRetention(text string) (*engine.Retention, error) {
	bad := func(at int, format string, args ...any) error {
		return usage("for example --retention daily=7,weekly=4,monthly=12, or --retention everything",
			"--retention %q: at character %d: %s", text, at, fmt.Sprintf(format, args...))
	}
	if text == "everything" {
		return &engine.Retention{Everything: true}, nil
	}
	r := &engine.Retention{}
	counts := map[string]*int{"last": &r.Last, "daily": &r.Daily, "weekly": &r.Weekly, "monthly": &r.Monthly, "yearly": &r.Yearly}
	seen := map[string]bool{}
	at := 1
	for part := range strings.SplitSeq(text, ",") {
		key, value, is := strings.Cut(part, "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		count := counts[key]
		switch {
		case !is, count == nil && key != "cap":
			return nil, bad(at, "%q is none of last=N, daily=N, weekly=N, monthly=N, yearly=N, cap=SIZE", part)
		case seen[key]:
			return nil, bad(at, "%s stands there twice", key)
		case key == "cap":
			n, err := units.ParseBytes(value)
			if err != nil || n == 0 {
				return nil, bad(at, "cap is no size such as 500GB")
			}
			r.CapBytes = n
		default:
			n, err := strconv.ParseInt(value, 10, 32)
			if err != nil || n < 0 {
				return nil, bad(at, "%s is no whole number", key)
			}
			*count = int(n)
		}
		seen[key] = true
		at += len(part) + 1
	}
	switch others := r.Daily + r.Weekly + r.Monthly + r.Yearly; {
	case r.Last+others == 0:
		return nil, bad(1, "nothing would be kept")
	case r.CapBytes > 0 && (others > 0 || r.Last == 0):
		return nil, bad(1, "a cap comes with last alone")
	}
	return r, nil
}
