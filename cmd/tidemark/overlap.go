package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"tidemark/report/measure"
	"tidemark/report/render"
	"tidemark/report/view"
	"tidemark/scan/logbook"
)

func (p *program) overlapCommand() *cobra.Command {
	var with []string
	cmd := &cobra.Command{
		Use:   "overlap TREE TREE...",
		Short: "What trees have in common, before they share one store",
		Long: `Overlap says how many bytes trees have in common: what one store for all of them
would save. A tree is a label, a folder of it (label/path), or "." for all of a
logbook; @N behind it names an earlier snapshot. With --with DIR, trees of a
further logbook join in, as DIR:label/path or DIR:. ; it must have been made under
the same key and chunk size.`,
		Example: `  tidemark overlap share annex
  tidemark overlap share/offers share/old
  tidemark overlap share share@1
  tidemark overlap . --with /var/lib/tidemark/office-b`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args)+len(with) < 2 {
				return usage("for example: tidemark overlap share annex", "overlap takes two trees or more, and %d were given", len(args)+len(with))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return p.overlap(cmd, args, with) },
	}
	cmd.Flags().StringArrayVar(&with, "with", nil, "a tree of another logbook, `DIR[:TREE]`; may be given several times")
	p.common.rows(cmd)
	return cmd
}

func (p *program) overlap(cmd *cobra.Command, trees, with []string) error {
	c, err := p.common.config()
	if err != nil {
		return err
	}
	books := map[string]*logbook.Book{}
	open := func(dir string) (*logbook.Book, error) {
		if books[dir] == nil {
			b, err := logbook.Open(dir)
			if err != nil {
				return nil, err
			}
			books[dir] = b
		}
		return books[dir], nil
	}
	var sides []measure.Side
	var names []string
	add := func(dir, tree, shown string) error {
		b, err := open(dir)
		if err != nil {
			return err
		}
		s, err := parseTree(b, tree)
		if err != nil {
			return err
		}
		sides, names = append(sides, s), append(names, shown)
		return nil
	}
	for _, tree := range trees {
		if err := add(c.dir, tree, tree); err != nil {
			return err
		}
	}
	for _, text := range with {
		dir, tree := splitWith(text)
		if err := add(dir, tree, text); err != nil {
			return err
		}
	}
	ctx, done := heavy(cmd)
	defer done()
	m, err := measure.Common(ctx, sides)
	if err != nil {
		return hinted(err, "trees are named label, label/folder or . for all; logbooks must be under one key: scan with --key FILE")
	}
	v := view.NewCommon(m, names, c.view(0))
	return p.answer(&c, v,
		func() error { return render.CommonText(p.stdout, v) },
		func() error { return render.CommonCSV(p.stdout, v) })
}

// splitWith parts DIR:TREE at the last colon that no drive letter brings.
func splitWith(text string) (dir, tree string) {
	if i := strings.LastIndexByte(text, ':'); i > 1 {
		return text[:i], text[i+1:]
	}
	return text, "."
}

// parseTree reads label, label/path or ".", and @N.
func parseTree(b *logbook.Book, text string) (measure.Side, error) {
	s := measure.Side{Book: b}
	tree := text
	if i := strings.LastIndexByte(text, '@'); i >= 0 {
		if n, err := strconv.Atoi(text[i+1:]); err == nil {
			if last := len(b.Segments()); n < 1 || n > last {
				return s, usage(fmt.Sprintf("the logbook holds snapshots 1 to %d", last), "%q: %s holds no snapshot %d", text, b.Dir(), n)
			}
			s.Snapshot, tree = n, text[:i]
		}
	}
	if tree == "" {
		return s, usage("a label, label/folder, or . for all", "%q names no tree", text)
	}
	if tree != "." {
		s.Label, s.Folder, _ = strings.Cut(strings.TrimSuffix(tree, "/"), "/")
	}
	return s, nil
}
