package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/report/engine"
	"tidemark/report/estimate"
	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

// whatIfFlags are what whatif changes.
type whatIfFlags struct {
	rangeFlags
	leaveOut, keepOnly []string
	profile, retention string
}

func (p *program) whatIfCommand() *cobra.Command {
	var f whatIfFlags
	cmd := &cobra.Command{
		Use:   "whatif",
		Short: "The same without some files, in another engine or retention",
		Long: `Whatif says what a snapshot (the newest if none is named) and its nights would be
with some files left out, in an engine of another profile, or under another
retention. Nothing is read again. Bytes count as saved only if no file that
stays shares them.

A rule is a pattern as scan --exclude takes it, or terms joined by "and":

    *.tmp            cache/            old/*.iso            !keep.tmp
    folder:share/old        what lies below a label or a folder of it
    ending:iso              the last ending; "ending:" alone: files without one
    older:2y  newer:30d     modified longer ago, or less; or older:2024-01-31
    larger:1GB  smaller:4kB
    pattern:*.bak           a pattern beside other terms`,
		Example: `  tidemark whatif --leave-out '*.tmp' --leave-out folder:share/cache
  tidemark whatif --leave-out 'ending:iso and older:1y and larger:100MB'
  tidemark whatif --keep-only folder:share/offers
  tidemark whatif --needs needs.toml --profile "whole files"
  tidemark whatif --retention daily=7,weekly=4,monthly=12`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return p.whatIf(cmd, &f) },
	}
	f.register(cmd, fromBefore, oneAndNight)
	cmd.Flags().StringArrayVar(&f.leaveOut, "leave-out", nil, "leave out what the `RULE` names; may be given several times")
	cmd.Flags().StringArrayVar(&f.keepOnly, "keep-only", nil, "leave out all but what the `RULE` names; may be given several times")
	cmd.Flags().StringVar(&f.profile, "profile", "", "the engine profile of this `NAME` afterwards: one of the needs file's, or a typical one (see tidemark profiles)")
	cmd.Flags().StringVar(&f.retention, "retention", "", "what is kept afterwards, such as `daily=7,weekly=4,monthly=12`")
	must(cmd.RegisterFlagCompletionFunc("profile", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		var names []string
		for _, t := range engine.Typical() {
			names = append(names, t.Name)
		}
		return names, cobra.ShellCompDirectiveNoFileComp
	}))
	p.common.rows(cmd)
	return cmd
}

func (p *program) whatIf(cmd *cobra.Command, f *whatIfFlags) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	parts := view.WhatIfParts{}
	option := "--leave-out"
	parts.Rules = f.leaveOut
	switch {
	case len(f.leaveOut) > 0 && len(f.keepOnly) > 0:
		return usage("a pattern with ! in front takes back what an earlier one named", "--leave-out and --keep-only contradict each other")
	case len(f.keepOnly) > 0:
		option, parts.Rules, parts.KeepOnly = "--keep-only", f.keepOnly, true
	case len(f.leaveOut) == 0 && f.profile == "" && f.retention == "":
		return usage("for example: tidemark whatif --leave-out '*.tmp'", "nothing is to be different: give --leave-out, --keep-only, --profile or --retention")
	}
	var retention *engine.Retention
	if f.retention != "" {
		if retention, err = parseRetention(f.retention); err != nil {
			return err
		}
	}
	if f.profile != "" {
		if parts.After, err = findProfile(f.profile, c.needs); err != nil {
			return err
		}
	}
	q, err := c.ask(&f.rangeFlags)
	if err != nil {
		return err
	}
	sel := measure.Selection{KeepOnly: parts.KeepOnly, Profile: parts.After, From: q.from}
	if sel.Rules, err = parseRules(option, parts.Rules, q.book.Segments()[q.to-1].Taken); err != nil {
		return err
	}
	ctx, done := heavy(cmd)
	defer done()
	if parts.Result, err = measure.WhatIf(ctx, q.book, q.to, sel, f.measure(&c)); err != nil {
		if errors.Is(err, logbook.ErrUsage) {
			return ruleError(option, err)
		}
		return err
	}
	if retention != nil || c.needs != nil && c.needs.Retention != nil {
		if err := retained(ctx, q.book, q.to, sel, &c, retention, &parts); err != nil {
			return err
		}
	}
	v := view.NewWhatIf(parts, facts(q.book), c.view(int(f.top)))
	return p.answer(&c, v,
		func() error { return render.WhatIfText(p.stdout, v) },
		func() error { return render.WhatIfCSV(p.stdout, v) })
}

// ruleError says in one line what measure does not take about the rules.
func ruleError(option string, err error) error {
	fact := strings.Replace(err.Error(), "exclusion pattern", "pattern", 1)
	return &failure{
		code: exitUsage, fact: option + ": " + fact, err: err,
		hint: "tidemark whatif --help shows what a rule may say; a name that holds * ? [ or \\ is written with \\ before it",
	}
}

// retained replays the retentions of before and after on the nights measured.
func retained(ctx context.Context, book *logbook.Book, to int, sel measure.Selection, c *config, after *engine.Retention, parts *view.WhatIfParts) error {
	var before *engine.Retention
	if c.needs != nil {
		before = c.needs.Retention
	}
	if after == nil {
		after = before
	}
	one := measure.Selection{Profile: c.profile}
	if sel.Profile == nil {
		sel.Profile = c.profile
	}
	same := len(sel.Rules) == 0 && sel.Profile == c.profile
	lives, err := measure.LifetimesOf(ctx, book, to, one)
	if err != nil {
		return err
	}
	parts.KeptBefore = kept(book, to, lives, before, one.Profile, parts.Result.From)
	if !same {
		if lives, err = measure.LifetimesOf(ctx, book, to, sel); err != nil {
			return err
		}
	}
	parts.KeptAfter = kept(book, to, lives, after, sel.Profile, parts.Result.From)
	return nil
}

func kept(book *logbook.Book, to int, lives []measure.Lifetime, r *engine.Retention, p *engine.Profile, from int) *view.Kept {
	out := estimate.Retain(estimate.SpansOf(lives), estimate.TakenOf(book.Segments()[:to]), r, p)
	k := &view.Kept{Retention: r, Snapshots: out.Kept, Bytes: out.Bytes}
	var compressed bool
	for i := range lives {
		l := &lives[i]
		switch {
		case l.Bytes == 0:
		case measure.Packed(p, l.Packed, l.Bytes) >= 0:
			compressed = true
		case slices.ContainsFunc(out.Kept, func(n int) bool {
			return slices.ContainsFunc(l.Alive, func(s measure.Stay) bool { return s.From <= n && n < s.To })
		}):
			k.PlainBytes += l.Bytes
		}
	}
	if !compressed && k.PlainBytes > 0 {
		k.Bytes = -1
	}
	for n := from; n < to && from > 0; n++ {
		k.AgainBytes += out.AgainBytes[n]
	}
	return k
}

// findProfile finds a profile by its name, or by a part of it that no other has.
func findProfile(name string, needs *engine.Needs) (*engine.Profile, error) {
	all := profilesOf(needs)
	var found []*engine.Profile
	for i := range all {
		if strings.EqualFold(all[i].Name, name) {
			return all[i], nil
		}
		if strings.Contains(strings.ToLower(all[i].Name), strings.ToLower(name)) {
			found = append(found, all[i])
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	var names []string
	for _, p := range all {
		names = append(names, fmt.Sprintf("%q", p.Name))
	}
	if len(found) > 1 {
		return nil, usage("there are "+strings.Join(names, ", "), "--profile %q fits %d profiles", name, len(found))
	}
	return nil, usage("there are "+strings.Join(names, ", "), "--profile %q: no profile has that name", name)
}

// profilesOf lists the needs file's profiles and then typical ones.
func profilesOf(needs *engine.Needs) (out []*engine.Profile) {
	if needs != nil {
		if needs.Profile != nil {
			out = append(out, needs.Profile)
		}
		for i := range needs.Profiles {
			out = append(out, &needs.Profiles[i])
		}
	}
	typical := engine.Typical()
	for i := range typical {
		out = append(out, &typical[i])
	}
	return out
}
