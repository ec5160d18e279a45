package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"

	"tidemark/cmd/tidemark/tour"
)

// Names under the folder of an example. Nothing else is ever written or removed
// there.
const (
	tourMark   = "tour.json" // says that the folder is an example's
	tourLock   = "tour.lock"
	tourBook   = "logbook"
	tourTruth  = "truth.json"
	tourNeeds  = "needs.toml"
	tourReport = "report.html"
)

const tourMarkSchema = "tidemark.tour-folder/1"

// tourNote is the form of the mark.
type tourNote struct {
	Schema string `json:"schema"`
	Says   string `json:"says"`
	Size   string `json:"size"`
	Seed   uint64 `json:"seed"`
}

// tourFolder is the folder of an example, held by this process.
type tourFolder struct {
	dir  string // absolute
	lock *flock.Flock
}

func (f *tourFolder) path(name string) string { return filepath.Join(f.dir, name) }

// openTourFolder takes dir for an example: it is new, empty, or holds an earlier
// example, which is taken away. Anything else is refused and left as it is.
func openTourFolder(dir string, o tour.Options) (*tourFolder, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, usage("name it with a path from the root", "%s: finding the folder: %v", dir, err)
	}
	list, err := os.ReadDir(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		return nil, usage("name a folder that is new or empty", "%s: looking into it: %v", abs, bare(err))
	case len(list) > 0 && !isTour(abs):
		return nil, usage("name a folder that is new or empty, or one that an earlier tour made",
			"%s: the folder is not empty and holds no example of this program; nothing was touched", abs)
	}
	if err := os.MkdirAll(abs, 0o755); err != nil {
		return nil, usage("name a folder that can be made", "%s: making the folder: %v", abs, bare(err))
	}
	f := &tourFolder{dir: abs, lock: flock.New(filepath.Join(abs, tourLock), flock.SetPermissions(0o644))}
	// The mark comes first: whatever happens from here on, the folder is known.
	if err := f.mark(o); err != nil {
		return nil, err
	}
	got, err := f.lock.TryLock()
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s: locking the folder: %w; name a folder on a local disk", abs, bare(err))
	case !got:
		return nil, &failure{code: exitLocked, fact: abs + ": another tour is being made there", hint: "wait until it has ended, or name another folder"}
	}
	if err := f.clear(); err != nil {
		f.close()
		return nil, err
	}
	return f, nil
}

func (f *tourFolder) close() { f.lock.Unlock() }

// clear takes an earlier example away. A symbolic link is removed, not followed.
func (f *tourFolder) clear() error {
	for _, name := range []string{tour.Main, tour.Annex, tourBook, tourTruth, tourNeeds, tourReport} {
		if err := os.RemoveAll(f.path(name)); err != nil {
			return fmt.Errorf("%s: taking the earlier example away: %w; close what holds it open", f.path(name), bare(err))
		}
	}
	return nil
}

func (f *tourFolder) mark(o tour.Options) error {
	b, err := json.MarshalIndent(tourNote{
		Schema: tourMarkSchema,
		Says:   "This folder holds example data made by tidemark tour, which may replace them.",
		Size:   o.Size.String(), Seed: o.Seed,
	}, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(f.path(tourMark), append(b, '\n'), 0o644); err != nil {
		return fmt.Errorf("%s: writing the mark: %w", f.path(tourMark), bare(err))
	}
	return nil
}

// isTour says whether a folder holds an example of this program.
func isTour(dir string) bool {
	name := filepath.Join(dir, tourMark)
	info, err := os.Lstat(name)
	if err != nil || !info.Mode().IsRegular() || info.Size() > 4096 {
		return false
	}
	b, err := os.ReadFile(name)
	if err != nil {
		return false
	}
	var note tourNote
	return json.Unmarshal(b, &note) == nil && note.Schema == tourMarkSchema
}

// bare takes the path out of an error whose line names it already.
func bare(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}
