package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"tidemark/report/view"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// answerFrom answers from the logbook, and where that is damaged from what is
// left of it: then the answer stands on stdout, stderr says what is wrong and
// which snapshot is the newest that could be told, and the exit code is that of
// a damaged logbook. answer prints nothing unless it returns nil.
func (c *config) answerFrom(ctx context.Context, answer func(*logbook.Book) error) error {
	book, err := c.open()
	if err == nil {
		err = answer(book)
	}
	if !errors.Is(err, logbook.ErrDamaged) {
		return err
	}
	left, lerr := logbook.OpenLeft(ctx, c.dir)
	if lerr != nil || answer(left) != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return err
	}
	fact, _ := split(err)
	return &failure{
		code: exitDamaged, err: err,
		fact: fact + "; answered from what is left, " + view.Plural(int64(len(left.Segments())), "snapshot"),
		hint: "the newest snapshots may be missing in the answer; tidemark audit names all that is damaged, tidemark scan --anew DIR begins a new logbook beside it",
	}
}

// beginAnew turns a scan of a logbook that may be damaged into the first scan of
// a new one, with the same roots, exclusions, cutting and key as far as they can
// be read. The old one is only read.
func (c *scanConfig) beginAnew(talk *talk) error {
	anew, err := filepath.Abs(c.anew)
	if err != nil {
		return usage("name it with a path from the root", "%s: finding the folder: %v", c.anew, err)
	}
	switch {
	case logbook.Exists(anew):
		return usage("scan it with --logbook "+anew, "--anew %s: there is a logbook already", anew)
	case anew == c.dir || strings.HasPrefix(anew, c.dir+string(os.PathSeparator)):
		return usage("name a folder beside it", "--anew %s: that lies inside the old logbook, which stays as it is", anew)
	}
	old, err := logbook.Salvage(c.dir)
	if err != nil {
		return err
	}
	if len(c.options.Roots) == 0 {
		for _, r := range old.Scope.Roots {
			c.options.Roots = append(c.options.Roots, scan.RootArg{Label: r.Label, Path: r.Path})
		}
	}
	if len(c.options.Roots) == 0 {
		return usage("name the folders to measure: tidemark scan --anew DIR ROOT", "%s: what it measured can not be read any more", c.dir)
	}
	if c.options.Exclude == nil {
		c.options.Exclude = old.Scope.Exclude
	}
	c.options.OneFileSystem = c.options.OneFileSystem || old.Scope.OneFileSystem
	if old.Params != nil {
		if c.average == 0 {
			c.average = old.Params.Average
		}
		if c.method == "" {
			c.method = old.Params.Method
		}
	} else if c.average == 0 || c.method == "" {
		talk.say("%s: how files were cut there can not be read; what is not given by --method and --average is as in any new logbook", c.dir)
	}
	if c.key == "" {
		c.oldKey = old.Key
		switch {
		case old.KeyErr != nil:
			fact, _ := split(old.KeyErr)
			talk.say("%s; a new key is made, so that the two logbooks can not be compared", oneLine(fact))
		case old.Key == nil:
			return usage("give it by --key FILE, or remove the need: tidemark scan --logbook DIR ROOT starts with a new key",
				"%s: its key is kept elsewhere", c.dir)
		}
	}
	talk.say("%s stays as it is; %s begins anew with %s: name that one from now on", c.dir, anew, view.Plural(int64(len(c.options.Roots)), "root"))
	c.dir = anew
	return nil
}
