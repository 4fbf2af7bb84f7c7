package engine

/*
#include <stdlib.h>
#ifdef __GLIBC__
#include <malloc.h>

// The engine frees a table's blocks when a query ends and asks for as many when
// the next begins. By default each goes back to the kernel and comes again page
// by page, cleared: a sixth of the time of a marking. What is kept is bounded by
// the engine's own memory limit, since it was the engine's before.
static void thawline_keep_memory(void) {
	mallopt(M_TRIM_THRESHOLD, 512 << 20);
	mallopt(M_TOP_PAD, 16 << 20);
	mallopt(M_MMAP_THRESHOLD, 32 << 20);
}
#else
static void thawline_keep_memory(void) {}
#endif
*/
import "C"

func init() { C.thawline_keep_memory() }
