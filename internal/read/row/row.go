// Package row says what a format hands out of a source file.
package row

// Row is one row of a source file, or a part of it that gives none.
type Row struct {
	// Place is the line, sheet row or segment on which it begins, 1-based.
	Place int64
	// Cells hold its text, one for each of the export's names.
	Cells [][]byte
	// Fault, where it is not empty, says why the row could not be taken apart:
	// what was found, what was wanted and what to do, without a cell of it. The
	// row is rejected, unless there are cells and these say that it is set aside.
	Fault string
	// Other, where it is not empty, says what stands here instead of a row of the
	// table, as kind=code: message=ADT^A08. There are no cells, and it is set
	// aside under this name.
	Other string
}
