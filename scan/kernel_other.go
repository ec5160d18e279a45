//go:build !linux

package scan

func (folderFD) ofKernel() bool { return false }
