package main

import (
	"errors"
	"strings"
	"syscall"
)

// advices say what to do where the machine itself stood in the way. Whatever it
// was, the store is as before the step that failed.
var advices = []struct {
	errno syscall.Errno
	next  string
}{
	{syscall.ENOSPC, "free space on the disk that holds the store, then run this again; the store is whole"},
	{syscall.EDQUOT, "free space within the quota, or have it raised, then run this again; the store is whole"},
	{syscall.EFBIG, "have the limit on the size of files raised (ulimit -f), then run this again; the store is whole"},
	{syscall.EROFS, "the disk may only be read: mount it for writing, or name another folder as store: in site.yaml"},
	{syscall.EACCES, "give the user who runs this the right to the file or folder named, or name another folder as store: in site.yaml"},
	{syscall.EPERM, "give the user who runs this the right to the file or folder named, or name another folder as store: in site.yaml"},
	{syscall.EIO, "the disk reports an error of its own: have it looked at; a store that can no longer be read comes back from a backup, or from the exports"},
	{syscall.EMFILE, "have the limit on open files raised (ulimit -n), then run this again; the store is whole"},
	{syscall.ENOMEM, "free memory, or run this where there is more; the store is whole"},
}

// advice is the next step after an error of the machine, or empty. The engine
// hands on the machine's words alone.
func advice(err error) string {
	for _, a := range advices {
		if errors.Is(err, a.errno) || strings.Contains(strings.ToLower(err.Error()), a.errno.Error()) {
			return a.next
		}
	}
	return ""
}
