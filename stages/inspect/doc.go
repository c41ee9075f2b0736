// Package inspect judges one recording for the minute after it was made, while
// the rotor is still mounted: what is in it, whether it can be used, and what to
// change at the bench before recording again. It gives no number that is published.
package inspect
