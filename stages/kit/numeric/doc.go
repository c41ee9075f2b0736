// Package numeric is the arithmetic that published numbers rest on: sums, least
// squares, minimisation in one variable, pooled means.
//
// It is our own where a library would do, for one reason: equal inputs must
// give equal bytes, on every platform as far as possible. gonum's vector
// kernels use assembly whose order of summation depends on the alignment of
// the slice, and the compiler may fuse x*y + z into one rounding on arm64 and
// not on amd64. Here sums run in index order, Sum with compensation, and
// products that enter a sum are rounded on their own by an explicit conversion,
// which the Go specification ("Floating-point operators") takes as a barrier
// to fusing. Distribution functions (t, F, χ²) come from gonum's distuv.
//
// Functions panic, prefixed with the package name, on lengths that disagree:
// those are programming errors. Data that cannot be solved give an error.
package numeric
