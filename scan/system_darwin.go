package scan

import "golang.org/x/sys/unix"

// sfDataless is SF_DATALESS of sys/stat.h: reading the file fetches it from elsewhere.
const sfDataless = 0x40000000

func dataless(s *unix.Stat_t) bool { return s.Flags&sfDataless != 0 }
