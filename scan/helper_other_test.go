//go:build !linux

package scan

func playHelper() bool { return false }
