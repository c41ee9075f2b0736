// Package tables writes and reads Parquet files. It is the only importer of
// arrow.
//
// # Equal bytes
//
// Equal tables give equal bytes: who wrote it, codec, encodings, page and
// row-group sizes are fixed here, columns stand in the order given, and nothing of
// the time, host or path enters. Rows are written in the caller's order, so
// the caller sorts them.
//
// # Metadata
//
// The file's key-value metadata holds "table" and "doc", and for each column
// "column.<name>.unit" and "column.<name>.doc", where they are not empty. Samples
// tables add more (see SampleWriter).
//
// # Encodings
//
// Floats are plain and integers DELTA_BINARY_PACKED, both without a
// dictionary, which measured values only slow down; texts have one. Pages are
// compressed with zstd.
package tables
