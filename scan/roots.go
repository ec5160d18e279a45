package scan

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"tidemark/scan/logbook"
)

// States of a logbook.Root.
const (
	stateMeasured = "measured"
	stateLeftOut  = "left_out"
)

// root is a tree under measure tonight, or one carried forward.
type root struct {
	label    string
	path     string        // absolute, as it was given
	prior    *logbook.Root // nil: new
	leftOut  bool
	frontier frontier // of the last snapshot
	hidden   string   // where in it the logbook lies, "" if outside

	folder *folder // nil: left out, or gone with leave

	// The merger's: files with the same size and times as before, and those of
	// them with another inode.
	matches, moved int64
	unstable       bool

	// The committer's.
	files    int64
	reached  []byte // the last name that left a trace
	any      bool
	complete bool
}

// frontier is how far a root was ever walked, set if not to its end. Its zero
// byte path lies before every name.
type frontier struct {
	set  bool
	path []byte
}

// ParseRoot reads a root as a person writes it: PATH, or LABEL=PATH. What
// stands before the first = is a label unless it holds a separator, so a path
// with = in its first component is written ./a=b. Errors wrap ErrRoot.
func ParseRoot(arg string) (RootArg, error) {
	label, path, labelled := strings.Cut(arg, "=")
	if !labelled || strings.ContainsAny(label, "/"+string(filepath.Separator)) {
		if arg == "" {
			return RootArg{}, rootError("", "an empty path", "name a folder")
		}
		return RootArg{Path: arg}, nil
	}
	if label == "" {
		return RootArg{}, rootError(arg, "the label is empty", "write LABEL=PATH, or the path alone; a path that begins with = is written ./=…")
	}
	if path == "" {
		return RootArg{}, rootError(arg, "no path after the label", "write LABEL=PATH")
	}
	if err := checkLabel(label); err != nil {
		return RootArg{}, err
	}
	return RootArg{Label: label, Path: path}, nil
}

func checkLabel(label string) error {
	reason := ""
	switch {
	case label == "":
		reason = "the label is empty"
	case label == "." || label == "..":
		reason = "the label would be a dot"
	case !utf8.ValidString(label):
		reason = "the label is not UTF-8"
	case strings.ContainsFunc(label, func(r rune) bool { return r < ' ' || r == 0x7f || r == '/' || r == '\\' }):
		reason = "the label holds a separator or a control character"
	case len(label) > 255:
		reason = "the label is longer than 255 bytes"
	}
	if reason != "" {
		return rootError(label, reason, "choose a label by LABEL=PATH")
	}
	return nil
}

func rootError(what, reason, hint string) error {
	return &hinted{fmt.Errorf("%w: %q: %s", ErrRoot, what, reason), hint}
}

func goneError(label, path, reason, hint string) error {
	return &hinted{fmt.Errorf("%w: %s (label %s): %s; nothing was recorded", ErrRootGone, path, label, reason), hint}
}

// resolveRoots brings what was asked for and the last scope together, in the
// order of labels.
func resolveRoots(args []RootArg, last *logbook.Segment) ([]*root, error) {
	var known []logbook.Root
	if last != nil {
		known = last.Scope.Roots
	}
	byLabel := map[string]*root{}
	var roots []*root
	for i := range known {
		k := &known[i]
		r := &root{label: k.Label, path: k.Path, prior: k, leftOut: len(args) > 0}
		if r.frontier.path, r.frontier.set = decodeKnown(k.Known); r.frontier.set && r.frontier.path == nil {
			return nil, fmt.Errorf("%w: root %q: its frontier is no path", logbook.ErrDamaged, k.Label)
		}
		byLabel[k.Label] = r
		roots = append(roots, r)
	}
	if len(args) == 0 && len(roots) == 0 {
		return nil, rootError("", "no folder to measure", "name at least one: the first scan of a logbook sets its roots")
	}
	for _, arg := range args {
		if arg.Path == "" {
			return nil, rootError(arg.Label+"="+arg.Path, "an empty path", "name a folder")
		}
		path, err := filepath.Abs(arg.Path)
		if err != nil {
			return nil, rootError(arg.Path, "can not be made an absolute path: "+reason(err), "name a folder")
		}
		label := arg.Label
		if label == "" {
			label = labelFor(path, known)
		}
		if err := checkLabel(label); err != nil {
			return nil, err
		}
		r := byLabel[label]
		switch {
		case r == nil:
			r = &root{label: label, path: path}
			byLabel[label] = r
			roots = append(roots, r)
		case r.leftOut:
			r.leftOut, r.path = false, path
		default:
			return nil, rootError(path, fmt.Sprintf("two folders have the label %q", label), "give one of them another label: LABEL=PATH")
		}
	}
	slices.SortFunc(roots, func(a, b *root) int { return strings.Compare(a.label, b.label) })
	return roots, nil
}

// labelFor is the label of a path that came without one: that of the root that
// was last found there, else the last component.
func labelFor(path string, known []logbook.Root) string {
	for i := range known {
		if known[i].Path == path {
			return known[i].Label
		}
	}
	base := filepath.Base(path)
	if base == string(filepath.Separator) || base == "." {
		return "root"
	}
	if volume := filepath.VolumeName(path); volume != "" && len(path) <= len(volume)+1 {
		return strings.Trim(volume, `:\/`)
	}
	return base
}

// resolved is where a root's folder really lies.
type resolved struct {
	root *root
	path string // links resolved
	info fs.FileInfo
}

// checkPlaces refuses roots that are missing, no folders, one inside another,
// or inside the logbook. With allowEmpty a known root may be missing: then
// everything in it is gone.
func checkPlaces(roots []*root, logbookDir string, allowEmpty bool) (missing []*root, err error) {
	book, err := filepath.Abs(logbookDir)
	if err == nil {
		book, err = filepath.EvalSymlinks(book)
	}
	if err != nil {
		return nil, fmt.Errorf("finding the logbook's folder %s: %w", logbookDir, err)
	}
	var places []resolved
	for _, r := range roots {
		if r.leftOut {
			continue // another tree may lie at its place by now
		}
		path, err := filepath.EvalSymlinks(r.path)
		var info fs.FileInfo
		if err == nil {
			info, err = os.Stat(path)
		}
		switch {
		case err == nil && info.IsDir():
			places = append(places, resolved{r, path, info})
		case err == nil:
			return nil, rootError(r.path, "is not a folder", "name the folder that holds it; one file is no tree")
		case r.prior != nil && errors.Is(err, fs.ErrNotExist) && allowEmpty:
			missing = append(missing, r)
		case r.prior != nil:
			return nil, goneError(r.label, r.path, reason(err), hintUnmounted)
		case errors.Is(err, fs.ErrNotExist):
			return nil, rootError(r.path, "no such folder", "check the path, and whether the share is mounted")
		default:
			return nil, &hinted{fmt.Errorf("%w: looking at %s: %s", ErrRootGone, r.path, reason(err)), "check who may enter the folders on the way"}
		}
	}
	for i, a := range places {
		if inside(a.path, book) {
			return nil, rootError(a.root.path, "lies inside the logbook "+logbookDir, "measure another folder, or keep the logbook elsewhere")
		}
		if rel, err := filepath.Rel(a.path, book); err == nil && inside(book, a.path) {
			a.root.hidden = filepath.ToSlash(rel)
		}
		for _, b := range places[:i] {
			if inside(a.path, b.path) || inside(b.path, a.path) || os.SameFile(a.info, b.info) {
				return nil, rootError(a.root.path, fmt.Sprintf("overlaps with %s (label %s)", b.root.path, b.root.label),
					"measure the outer folder alone, or folders side by side; bytes must not count twice")
			}
		}
	}
	return missing, nil
}

const hintUnmounted = "is a share not mounted? If its files are really gone, say so with --allow-empty"

func inside(path, folder string) bool {
	if path == folder {
		return true
	}
	return strings.HasPrefix(path, strings.TrimSuffix(folder, string(filepath.Separator))+string(filepath.Separator))
}

// openRoots opens the roots to be measured.
func openRoots(roots []*root, missing []*root, h *handles) error {
	for _, r := range roots {
		if r.leftOut || slices.Contains(missing, r) {
			continue
		}
		fd, st, err := openRootFolder(r.path)
		if err != nil {
			return goneError(r.label, r.path, "opening it: "+reason(err), "check who may read it")
		}
		r.folder = newFolder(nil, nil, &st)
		r.folder.label, r.folder.hidden = r.label, r.hidden
		r.folder.handle = h.root(fd, st.identity())
	}
	return nil
}

// checkFilled refuses roots that can not be listed, and roots that held files
// and have no name in them now.
func checkFilled(w *walker, roots []*root, allowEmpty bool) error {
	for _, r := range roots {
		if r.folder == nil {
			continue
		}
		w.need(&r.folder.first)
		if err := r.folder.err; err != nil {
			return goneError(r.label, r.path, "listing it: "+reason(err), "check who may read it")
		}
		if r.prior != nil && r.prior.Files > 0 && len(r.folder.names.refs) == 0 && !allowEmpty {
			return goneError(r.label, r.path, fmt.Sprintf("it is empty, and held %d files", r.prior.Files), hintUnmounted)
		}
	}
	return nil
}
