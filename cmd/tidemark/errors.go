package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"syscall"

	"tidemark/chunk"
	"tidemark/report/render"
	"tidemark/report/units"
	"tidemark/scan"
	"tidemark/scan/logbook"
)

// Exit codes.
const (
	exitDone    = 0
	exitFailed  = 1 // nothing was recorded
	exitUsage   = 2
	exitPart    = 6 // what was read is recorded
	exitLocked  = 7
	exitDamaged = 8
)

// failure is an error that knows its exit code and what to do about it.
type failure struct {
	code int
	fact string
	hint string // "": none
	err  error  // what it wraps, may be nil; its text is part of fact already
}

func (f *failure) Error() string { return f.fact }
func (f *failure) Unwrap() error { return f.err }

// usage is a refusal of what was typed.
func usage(hint, format string, args ...any) error {
	return &failure{code: exitUsage, fact: fmt.Sprintf(format, args...), hint: hint}
}

// hinted gives err a hint that only the caller knows, unless it has one.
func hinted(err error, hint string) error {
	if err == nil {
		return nil
	}
	if _, own := split(err); own != "" {
		return err
	}
	return &failure{code: codeOf(err), fact: err.Error(), hint: hint, err: err}
}

// codeOf maps an error to an exit code.
func codeOf(err error) int {
	var f *failure
	if errors.As(err, &f) {
		return f.code
	}
	for _, s := range sentinels {
		if errors.Is(err, s.err) {
			return s.code
		}
	}
	return exitFailed
}

// sentinels are looked through in order: an error may wrap several.
var sentinels = []struct {
	err  error
	code int
	hint string
}{
	{logbook.ErrLocked, exitLocked, "wait until the other scan ends; reports can be read meanwhile"},
	{logbook.ErrNewer, exitDamaged, "use the version of tidemark that wrote it, or a later one"},
	{logbook.ErrDamaged, exitDamaged, "tidemark audit names all that is damaged; tidemark scan --anew DIR begins a new logbook beside it, tonight"},
	{logbook.ErrKey, exitDamaged, "give the key that the logbook was made with (--key FILE), readable by its owner only; reports need no key"},
	{logbook.ErrNotLogbook, exitUsage, "name the logbook's folder with --logbook DIR, or start one: tidemark scan ROOT"},
	{logbook.ErrNoSnapshot, exitUsage, "snapshots are numbered 1, 2, 3 …; tidemark audit says how many there are"},
	{scan.ErrTaken, exitUsage, "measure older states first: each snapshot must be taken later than the one before"},
	{scan.ErrRootGone, exitFailed, "mount the share first, or say --allow-empty if it was emptied on purpose"},
	{scan.ErrRoot, exitUsage, "a root is a folder that is there; LABEL=PATH points a known root to another place"},
	{logbook.ErrUsage, exitUsage, "tidemark scan --help lists the options"},
	{chunk.ErrParams, exitUsage, "for example --average 64KiB"},
	{syscall.ENOSPC, exitFailed, "make room there, and give the command again"},
	{fs.ErrPermission, exitFailed, "run it as an account that may, or name another place"},
	{context.Canceled, exitFailed, "what the logbook held before is untouched"},
}

// split parts an error into the fact and a hint. Errors of the packages below
// bring theirs along, by a method or behind the last semicolon.
func split(err error) (fact, hint string) {
	var f *failure
	if errors.As(err, &f) && f.hint != "" {
		return err.Error(), f.hint
	}
	var advised interface{ Hint() string }
	if errors.As(err, &advised) && advised.Hint() != "" {
		return err.Error(), advised.Hint()
	}
	text := err.Error()
	if i := strings.LastIndex(text, "; "); i >= 0 {
		return text[:i], text[i+2:]
	}
	return text, ""
}

// complain prints one line that names what went wrong, then a hint. A screen breaks
// them at words.
func complain(w io.Writer, err error) {
	fact, hint := split(err)
	if errors.Is(err, context.Canceled) {
		fact = "interrupted: nothing was recorded"
	}
	if hint == "" {
		for _, s := range sentinels {
			if errors.Is(err, s.err) {
				hint = s.hint
				break
			}
		}
	}
	// That something was used wrongly, the exit code says; the line says what.
	fact = strings.Replace(fact, logbook.ErrUsage.Error()+": ", "", 1)
	for _, line := range []struct{ lead, text string }{{"tidemark: ", fact}, {"hint: ", hint}} {
		if line.text != "" {
			fmt.Fprintln(w, render.Fold(line.lead+oneLine(line.text), "  ", columnsOf(w)))
		}
	}
}

// unrecorded is the hint of a scan that failed for want of room.
const unrecorded = "nothing was recorded, and what the logbook held before is whole; make room where it lies and scan again"

// scanError gives what a scan failed of the hint that only holds for scans.
func scanError(err error) error {
	if errors.Is(err, syscall.ENOSPC) {
		return hinted(err, unrecorded)
	}
	return err
}

// oneLine makes a message safe to print whatever names it quotes. Backslashes
// stay single, as a person would type them.
func oneLine(text string) string {
	return strings.ReplaceAll(units.EscapeName([]byte(text)), `\\`, `\`)
}
