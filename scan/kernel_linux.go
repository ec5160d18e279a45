package scan

import "golang.org/x/sys/unix"

// ofKernel says whether an open folder lies on a file system in which the kernel
// shows itself: its files have no size that means anything, and some give bytes
// without end.
func (d folderFD) ofKernel() bool {
	var fs unix.Statfs_t
	if unix.Fstatfs(int(d), &fs) != nil {
		return false
	}
	switch uint32(fs.Type) {
	case unix.PROC_SUPER_MAGIC, unix.SYSFS_MAGIC, unix.DEBUGFS_MAGIC, unix.TRACEFS_MAGIC, unix.SECURITYFS_MAGIC,
		unix.CGROUP_SUPER_MAGIC, unix.CGROUP2_SUPER_MAGIC, unix.BPF_FS_MAGIC, unix.PSTOREFS_MAGIC,
		unix.SELINUX_MAGIC, unix.SMACK_MAGIC, unix.DEVPTS_SUPER_MAGIC, unix.BINFMTFS_MAGIC,
		unix.EFIVARFS_MAGIC, unix.NSFS_MAGIC:
		return true
	}
	return false
}
