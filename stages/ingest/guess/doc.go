// Package guess reads what a recording's text and signals show of what nobody
// declared: how the text is laid out, which column holds which channel in which unit,
// and what kind of recording it is. Every guess is told with what it rests on, and with how
// far it can be trusted, so that a person can settle it. No number that is
// published rests on a guess: job and bench files declare.
package guess

// Note is one guess, in words for the person who settles it.
type Note struct {
	// About is what was guessed: "delimiter", "torque".
	About string `json:"about"`
	// Text says what was guessed from what.
	Text string `json:"text"`
	// Sure is false where a person must look: a unit taken from the size of the numbers.
	Sure bool `json:"sure"`
	// Logger that the guess belongs to, where there are several.
	Logger string `json:"logger,omitempty"`
}
