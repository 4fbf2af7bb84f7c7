// Package store keeps records, audit tables and packs in one folder: immutable
// Parquet files, and a small manifest that names them and is replaced by one
// atomic rename. A file that the manifest does not name is no part of the
// store, so that a run killed at any instant leaves it as before or as after.
package store

// Files and folders of the store are for their owner and group alone.
const (
	fileMode   = 0o640
	folderMode = 0o750
)
