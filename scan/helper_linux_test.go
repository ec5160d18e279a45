package scan

import "os"

// playHelper is what the test binary does when a test starts it as another process.
func playHelper() bool {
	root := os.Getenv(vandalEnv)
	if root == "" {
		return false
	}
	vandal(root)
	return true
}
