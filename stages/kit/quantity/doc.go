// Package quantity reads and writes physical quantities as people write them:
// a number with its unit and, where it has one, its uncertainty.
//
//	14.8 V                  exact
//	40.00(2) mm             standard uncertainty in units of the last digit (JCGM 100:2008, 7.2.2, form 2)
//	40.00(0.02) mm          the same with the uncertainty written out (7.2.2, form 3)
//	12.31 ± 0.02 g (k=2)    expanded uncertainty: u = U/k (JCGM 100:2008, 4.3.3)
//	40.00 ± 0.02 mm (limits) rectangular between the limits: u = a/√3 (4.3.7)
//	9.92(1) g (dof=12)      degrees of freedom behind u, also (k=2.18, dof=12)
//
// "+/-" and "+-" stand for ±, the Unicode minus for the hyphen. A bare ± says neither
// what it covers nor how sure it is, and is refused; so are a bare number, a decimal
// comma, leading zeros and anything that is not finite.
//
// Inside the program all values are SI: rad/s, kg·m², N·m, kg, m, s, K, Pa.
// A scalar that crosses a package border is a float64 (or an uncertain.Value)
// with its unit in the name. Units live in one table (units.go), constants in another
// (constants.go), each row with its source.
package quantity
