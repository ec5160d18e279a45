package scan

import "os"

// helpers are what else it may be; each says whether it was that.
var helpers []func() bool

// playHelper is what the test binary does when a test starts it as another process.
func playHelper() bool {
	for _, play := range helpers {
		if play() {
			return true
		}
	}
	root := os.Getenv(vandalEnv)
	if root == "" {
		return false
	}
	vandal(root)
	return true
}
