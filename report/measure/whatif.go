package measure

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"tidemark/report/engine"
	"tidemark/scan/logbook"
)

// Selection says which files of a tree stay in it.
type Selection struct {
	Rules    []Rule // at most MaxRules; none: everything stays
	KeepOnly bool   // what a rule names stays and the rest is left out, instead of the reverse
	// Profile of the store afterwards; nil: that of the Options, as before.
	Profile *engine.Profile
	// From: the nights behind this snapshot are added up; 0: all of them or, under
	// a profile of units that are not the logbook's chunks, the last one.
	From int
}

// MaxRules is how many rules a selection may have.
const MaxRules = 60

// Rule names files: all that is set must hold. Patterns that stand alone in
// their rules are one list, in which a later one with ! takes back what an
// earlier one named (see logbook.Patterns); of the rest any that holds decides.
type Rule struct {
	Pattern     string    // "": any path
	Folder      string    // "label" or "label/path", raw bytes: what lies below; "": anywhere
	Ending      string    // a type as in Explain.ByType; NoEnding: files without one; "": any
	MtimeBefore time.Time // last modified before; zero: any
	MtimeAfter  time.Time // last modified at or after; zero: any
	LargerThan  int64     // apparent size in bytes; 0: any
	SmallerThan int64     // 0: any
}

// NoEnding stands in Rule.Ending for files that have none.
const NoEnding = "."

// WhatIfResult is a tree before and after files were left out. A file's bytes
// are saved only if no kept file shares them.
type WhatIfResult struct {
	Snapshot      int
	Before, After *Explain

	LeftOutFiles     int64 // names in the snapshot
	LeftOutBytes     int64 // their apparent sizes
	SavedUniqueBytes int64
	SavedBytes       int64 // of what is stored; −1: not known. Negative: the other profile takes more

	// The nights from snapshot From on, in the same units as Explain's. After counts
	// what is new to the kept tree: a chunk that a file left out brought and that a
	// kept file took over later is new there on that later night. The lists are
	// empty under a profile of other units.
	From                                    int // 0: the baseline has none
	BeforeNights, AfterNights               []Night
	BeforeNew, AfterNew                     int64 // new bytes of all those nights; −1: there is none
	BeforeNewCompressed, AfterNewCompressed int64 // … compressed; −1: not known
	BeforeUpload, AfterUpload               int64 // … with overhead: every earlier night counts as held; −1: not known

	// What NightlyNights nights bring less, divided by their number: new bytes, and
	// what travels; −1 where there is no night or it is not known.
	SavedNightlyBytes       int64
	SavedNightlyUploadBytes int64
	NightlyNights           int

	Assumed []ProfileNote // what the profile of afterwards rests on beside measurement; never nil

	// RulesFrom is where the nights of Rules begin: From, or earlier where the
	// profile's units let only the last night be measured. 0: the baseline has none.
	RulesFrom int
	Rules     []RuleResult // each by itself, in the order of the selection
}

// RuleResult is what a rule does alone, in the logbook's own chunks and under
// the profile of before. Rules that overlap save less together than the sum of
// these; rules that share chunks between them save more.
type RuleResult struct {
	Rule
	Files             int64 // names in the snapshot that it names
	Bytes             int64 // their apparent sizes
	EverFiles         int64 // names that it named on any night. 0: it matches nothing
	SavedUniqueBytes  int64
	SavedBytes        int64 // of what is stored; −1: not known, see StoredKnown
	StoredKnown       bool
	SavedNewBytes     int64 // of all nights
	SavedNightlyBytes int64 // −1: no night
	SavedUploadBytes  int64 // of all nights, where UploadKnown
	UploadKnown       bool
}

// chooser answers for every rule, alone and together, whether a file stays.
// Bit wholeTree is the tree with nothing left out, bit together with all rules
// applied, firstAlone+i with rule i alone.
type chooser struct {
	sel   Selection
	rules []checkedRule
	list  *logbook.Patterns // of the patterns that stand alone
	all   uint64
}

const (
	wholeTree = iota
	together
	firstAlone
)

type checkedRule struct {
	Rule
	pattern *logbook.Patterns // nil: none. Without its !
	listed  bool              // it is part of chooser.list
	back    bool              // it begins with !
	label   string
	path    []byte
}

// newChooser checks a selection. Errors wrap logbook.ErrUsage and name the rule.
func newChooser(sel Selection) (*chooser, error) {
	if len(sel.Rules) > MaxRules {
		return nil, fmt.Errorf("%w: %d rules; at most %d can be compared at once", logbook.ErrUsage, len(sel.Rules), MaxRules)
	}
	c := &chooser{sel: sel, all: 1<<(firstAlone+len(sel.Rules)) - 1}
	var list, texts []string // of patterns: those that stand alone, all
	for i, r := range sel.Rules {
		k := checkedRule{Rule: r}
		bare := r
		bare.Pattern = ""
		switch {
		case r == Rule{}:
			return nil, fmt.Errorf("%w: rule %d names nothing", logbook.ErrUsage, i+1)
		case r.LargerThan < 0 || r.SmallerThan < 0:
			return nil, fmt.Errorf("%w: rule %d: a size is negative", logbook.ErrUsage, i+1)
		case r.SmallerThan > 0 && r.LargerThan >= r.SmallerThan-1:
			return nil, fmt.Errorf("%w: rule %d: no file is larger than %d and smaller than %d bytes", logbook.ErrUsage, i+1, r.LargerThan, r.SmallerThan)
		case !r.MtimeBefore.IsZero() && !r.MtimeAfter.IsZero() && !r.MtimeAfter.Before(r.MtimeBefore):
			return nil, fmt.Errorf("%w: rule %d: no file was modified before %s and after %s", logbook.ErrUsage, i+1,
				r.MtimeBefore.Format(time.RFC3339), r.MtimeAfter.Format(time.RFC3339))
		}
		if r.Pattern != "" {
			// With those before it, so that the error tells its place.
			if _, err := logbook.ParsePatterns(append(slices.Clone(texts), r.Pattern)); err != nil {
				return nil, err
			}
			texts = append(texts, r.Pattern)
			k.back = strings.HasPrefix(r.Pattern, "!")
			k.listed = bare == Rule{}
			if k.back && !k.listed {
				return nil, fmt.Errorf("%w: rule %d: a pattern that takes back (!) stands alone", logbook.ErrUsage, i+1)
			}
			if k.listed {
				list = append(list, r.Pattern)
			}
			var err error
			if k.pattern, err = logbook.ParsePatterns([]string{strings.TrimPrefix(r.Pattern, "!")}); err != nil {
				return nil, err
			}
		}
		if r.Folder != "" {
			label, path, _ := strings.Cut(strings.TrimSuffix(r.Folder, "/"), "/")
			k.label, k.path = label, []byte(path)
		}
		c.rules = append(c.rules, k)
	}
	var err error
	c.list, err = logbook.ParsePatterns(list)
	return c, err
}

// names says whether the rule, by itself, names the file.
func (r *checkedRule) names(e *logbook.Entry, buf []byte) bool {
	switch {
	case r.Folder != "" && (e.Label != r.label || len(r.path) > 0 && !(bytes.HasPrefix(e.Path, r.path) && len(e.Path) > len(r.path) && e.Path[len(r.path)] == '/')):
		return false
	case r.LargerThan > 0 && e.Size <= r.LargerThan, r.SmallerThan > 0 && e.Size >= r.SmallerThan:
		return false
	case !r.MtimeBefore.IsZero() && e.MtimeNs >= r.MtimeBefore.UnixNano(), !r.MtimeAfter.IsZero() && e.MtimeNs < r.MtimeAfter.UnixNano():
		return false
	case r.Ending == NoEnding && len(typeOf(buf[:0], e.Path)) > 0:
		return false
	case r.Ending != "" && r.Ending != NoEnding && string(typeOf(buf[:0], e.Path)) != strings.ToLower(r.Ending):
		return false
	}
	return r.pattern == nil || r.pattern.Excludes(e.Path, false)
}

// choose returns the trees in which the file stays and, as the bits from
// firstAlone on, the rules that name it.
func (c *chooser) choose(e *logbook.Entry) (kept, named uint64) {
	var buf [64]byte
	hit := c.list.Len() > 0 && c.list.Excludes(e.Path, false)
	kept = 1 << wholeTree
	for i := range c.rules {
		r := &c.rules[i]
		bit := uint64(1) << (firstAlone + i)
		if r.back {
			kept |= bit // alone it takes nothing back
		}
		if !r.names(e, buf[:]) {
			if !c.sel.KeepOnly {
				kept |= bit
			}
			continue
		}
		named |= bit
		hit = hit || !r.listed
		if c.sel.KeepOnly {
			kept |= bit
		}
	}
	if hit == c.sel.KeepOnly || len(c.rules) == 0 {
		kept |= 1 << together
	}
	return kept, named
}

// WhatIf answers what a snapshot (0: the newest) and the nights up to it would
// be with files left out, and under another profile. Age is measured against
// fixed times, so a file that is not written to stays in or out for good; a
// file that grows over a size changes sides with that version. It holds four
// bytes a chunk and three bits a chunk and rule. The error wraps
// logbook.ErrNoSnapshot, ErrUsage or ErrDamaged.
func WhatIf(ctx context.Context, b *logbook.Book, snapshot int, sel Selection, o Options) (*WhatIfResult, error) {
	snapshot, err := snapshotNumber(b, snapshot)
	if err != nil {
		return nil, err
	}
	c, err := newChooser(sel)
	if err != nil {
		return nil, err
	}
	r := &WhatIfResult{Snapshot: snapshot}
	if r.Before, err = ExplainSnapshot(ctx, b, snapshot, o); err != nil {
		return nil, err
	}
	if sel.From < 0 || sel.From >= snapshot {
		return nil, fmt.Errorf("%s: measure: %w: snapshot %d is not earlier than %d", b.Dir(), logbook.ErrUsage, sel.From, snapshot)
	}
	w := newWhatIfWalk(b, snapshot, c, o)
	for i := range w.trees {
		w.trees[i].from = max(sel.From, 1)
	}
	if err := w.run(ctx); err != nil {
		return nil, err
	}
	if err := w.finish(ctx, r); err != nil {
		return nil, err
	}
	if err := r.profiles(ctx, b, c, o); err != nil {
		return nil, err
	}
	r.SavedNightlyUploadBytes = -1
	if r.BeforeUpload >= 0 && r.AfterUpload >= 0 {
		r.SavedNightlyUploadBytes = nightly(r.BeforeUpload-r.AfterUpload, r.NightlyNights)
	}
	r.SavedUniqueBytes = r.Before.UniqueBytes - r.After.UniqueBytes
	r.SavedBytes = -1
	if r.Before.StoredBytes >= 0 && r.After.StoredBytes >= 0 {
		r.SavedBytes = r.Before.StoredBytes - r.After.StoredBytes
	}
	return r, nil
}

// profiles looks at both trees as the store of before and of afterwards does,
// where that is not the logbook's own way.
func (r *WhatIfResult) profiles(ctx context.Context, b *logbook.Book, c *chooser, o Options) error {
	after := c.sel.Profile
	if after == nil {
		after = o.Profile
	}
	r.Assumed = Notes(b, after)
	if !otherUnits(b, o.Profile) && !otherUnits(b, after) {
		r.Before = repack(r.Before, o.Profile)
		r.After = repack(r.After, after)
		return nil
	}
	last := r.Snapshot - 1
	if c.sel.From > 0 {
		last = c.sel.From
	}
	before, err := forProfiles(ctx, b, last, r.Snapshot, []*engine.Profile{o.Profile}, nil, r.Before, o)
	if err != nil {
		return err
	}
	then, err := forProfiles(ctx, b, last, r.Snapshot, []*engine.Profile{after}, c.keeps, r.After, o)
	if err != nil {
		return err
	}
	r.Before, r.After = before[0].Explain, then[0].Explain
	r.BeforeNights, r.AfterNights = []Night{}, []Night{}
	r.BeforeNew, r.AfterNew = before[0].NewBytes, then[0].NewBytes
	r.BeforeNewCompressed, r.AfterNewCompressed = before[0].NewCompressedBytes, then[0].NewCompressedBytes
	r.BeforeUpload, r.AfterUpload = before[0].UploadBytes, then[0].UploadBytes
	r.From, r.NightlyNights = before[0].From, before[0].Nights
	r.SavedNightlyBytes = nightly(r.BeforeNew-r.AfterNew, r.NightlyNights)
	return nil
}
