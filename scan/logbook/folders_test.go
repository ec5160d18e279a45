package logbook

import (
	"path/filepath"
	"sync"
	"testing"
)

// First scans that begin in the same instant make the same folders: none may
// fail because another was a moment earlier.
func TestFoldersMadeAtOnce(t *testing.T) {
	for range 200 {
		dir := filepath.Join(t.TempDir(), "a", "b", "c")
		begin := make(chan struct{})
		var all sync.WaitGroup
		for range 8 {
			all.Go(func() {
				<-begin
				if err := (osFiles{}).MkdirAll(dir); err != nil {
					t.Error(err)
				}
			})
		}
		close(begin)
		all.Wait()
	}
}
