// Package subtract turns the inertias of runs into inertias of parts.
//
// # Runs to rotors (pool.go)
//
// The error of a single run is set by what no residual of that run shows: where
// the step fell on the sample grid, how the fixture rang. So the uncertainty of
// a rotor's inertia comes from the scatter between its runs: a plain mean with
// Student's t. Runs are grouped by condition (duty × supply); where the F test
// gives p > 0.25 the conditions agree and all runs are pooled, else the
// conditions are the sample (random effects, ν = k − 1); where p < 0.01 and they
// spread by more than 0.3 % the spread itself is the uncertainty. One or two
// runs have no scatter of their own: the bench's declared repeatability carries
// them. Runs of one mounting share its error: a declared remounting
// contribution enters, or the spread of mountings where there are several.
// Nothing that varies between the repeats is counted again; what does not
// (pooled lag, load shape and factor, torque scale, a floor of 0.03 %, half of what runs
// scatter beyond the declared repeatability) is added.
//
// # Rotors to parts (adjust.go)
//
// One generalised least-squares adjustment (Aitken 1935; JCGM 102:2011, 6.3):
// the observations are all rotor inertias, y_r = Σ J_part, with their full
// covariance, and the declared inertias of fasteners, adapters and reference
// disks, with theirs. The torque scale is not an unknown of its own: it is
// a source that all y_r share, each calibration its own, so that a disk of known
// inertia moves every part by as much as it moves the scale; for one disk
// and no weights this is J = J_disk·(J_p − J_b)/(J_d − J_b). Each part is
// G·observations with G from the adjustment, and its uncertainty parts are G
// times theirs, by name.
//
// Parts that are never told apart (a nut never run alone) are given as their sum.
package subtract
