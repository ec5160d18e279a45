package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
)

// version and commit are stamped by the release build:
// -ldflags "-X main.version=… -X main.commit=…".
var version, commit string

// versionName is what a segment records: the version, or what is known of it.
func versionName() string {
	if version != "" {
		return version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unknown"
}

// versionText names version, commit, toolchain and platform.
func versionText() string {
	c := commit
	if c == "" {
		c = stampedCommit()
	}
	return fmt.Sprintf("%s, commit %s, %s %s/%s", versionName(), c, runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

// stampedCommit is the commit that the Go command stamps into builds inside a
// checkout.
func stampedCommit() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	revision, changed := "unknown", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = " with changes"
		}
	}
	return revision + changed
}
