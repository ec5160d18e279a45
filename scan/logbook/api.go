package logbook

import "context"

// Damage is one finding of Audit.
type Damage struct {
	Segment int    // 0: the logbook's own files
	File    string // relative to the logbook
	Reason  string
}

// Audit proves every file against its checksum and the chain, and walks the
// invariants (ids in range, recipes add up, totals equal recounts, levels and
// lengths within the method's limits). It opens what Open would refuse. The error is for what
// could not even be looked at.
func Audit(ctx context.Context, dir string) (segments int, found []Damage, err error) { panic("stub") }
