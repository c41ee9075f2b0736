package uncertain

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// component stands between the name of a joint estimate and the number of one
// of its independent components: "drag/fit~0", "drag/fit~1".
const component = "~"

// estimate is the name of the joint estimate a source is a component of,
// empty for a source of its own.
func estimate(source string) string {
	i := strings.LastIndex(source, component)
	if i < 0 {
		return ""
	}
	if _, err := strconv.ParseUint(source[i+len(component):], 10, 32); err != nil {
		return ""
	}
	return source[:i+len(component)]
}

// FromCovariance turns correlated means with covariance matrix cov (row major,
// n × n, positive semidefinite) into values with independent sources
// prefix~0 … prefix~n−1: cov = L·Lᵀ, and row i of L holds the contributions
// of value i (JCGM 100:2008, 5.2.5: correlation explicit as common inputs).
// dof (0: infinite) is that of the one estimated variance behind cov; Value.DoF
// knows by the names that it is one. It panics when lengths disagree or cov
// is clearly not a covariance; both are programming errors.
func FromCovariance(means, cov []float64, dof float64, prefix string) []Value {
	n := len(means)
	if len(cov) != n*n {
		panic(fmt.Sprintf("uncertain: FromCovariance: %d means, %d covariances", n, len(cov)))
	}
	l := cholesky(cov, n)
	out := make([]Value, n)
	for i := range out {
		var parts []Part
		for j := 0; j <= i; j++ {
			if c := l[i*n+j]; c != 0 {
				parts = append(parts, Part{prefix + component + strconv.Itoa(j), c, dof})
			}
		}
		out[i] = Value{Mean: means[i], Parts: merge(parts)}
	}
	return out
}

// cholesky is the lower factor of a positive semidefinite matrix; a pivot that
// vanishes against its own diagonal gives a zero column.
func cholesky(a []float64, n int) []float64 {
	// A pivot below this share of its diagonal is rounding, not variance.
	const vanishing = 1e-12
	l := make([]float64, n*n)
	for j := range n {
		d := a[j*n+j]
		for k := range j {
			d -= float64(l[j*n+k] * l[j*n+k])
		}
		if d < -1e-6*math.Abs(a[j*n+j]) || math.IsNaN(d) {
			panic(fmt.Sprintf("uncertain: matrix is not a covariance: pivot %d is %g of %g", j, d, a[j*n+j]))
		}
		for i := j + 1; i < n; i++ {
			l[i*n+j] = a[i*n+j]
			for k := range j {
				l[i*n+j] -= float64(l[i*n+k] * l[j*n+k])
			}
		}
		root := math.Sqrt(math.Max(d, 0))
		if d <= vanishing*a[j*n+j] {
			root = 0
		}
		l[j*n+j] = root
		for i := j + 1; i < n; i++ {
			s := l[i*n+j]
			// What has no variance of its own left can share none.
			if root == 0 {
				if limit := 1e-5 * math.Sqrt(math.Abs(a[i*n+i]*a[j*n+j])); !(math.Abs(s) <= limit) {
					panic(fmt.Sprintf("uncertain: matrix is not a covariance: %g between %d and %d, which have no more than %g", s, j, i, limit))
				}
				l[i*n+j] = 0
				continue
			}
			l[i*n+j] = s / root
		}
	}
	return l
}
