package job

import (
	"regexp"

	"spinledger/stages/kit/quantity"
)

var numberForm = &Form{"the id of a number such as weir-2207/prop-5x4.A/inertia", regexp.MustCompile(`^[a-z0-9][a-z0-9._-]*(/[^/\s"\\]+)+$`)}

func ledgerBlocks() []Block {
	number := Key{Name: "number", Type: Name, Form: numberForm, Required: true, Doc: "Id of the number."}
	by := Key{Name: "by", Type: Text, Required: true, Doc: "Who answers for it."}
	reason := "Why: of a withdrawal, or of an edition that replaces another."
	return []Block{
		{Name: LedgerFile, Doc: "Which numbers were released, by whom and when. Lines are added at the end, by release and withdraw or by hand, and never changed.", Keys: []Key{
			formatKey,
			{Name: "lines", Type: List, Block: "ledger line", Doc: "The lines, oldest first."},
		}},
		{Name: "ledger line", Doc: "An edition of a number, or the withdrawal of one.", Keys: []Key{
			number,
			{Name: "edition", Type: Integer, Low: 1, High: 100000, Doc: "Edition released: 1 for a number's first line, one more for each that follows."},
			{Name: "withdraws", Type: Integer, Low: 1, High: 100000, Doc: "Edition withdrawn."},
			{Name: "value", Type: Quantity, Uncertain: true, Doc: "Value with its expanded uncertainty and coverage factor, such as 12.340 ± 0.150 g·cm² (k=2.13, dof=15)."},
			{Name: "result", Type: Hash, Doc: "SHA-256 of the number's line in the results; its bytes are kept in released/ beside the ledger."},
			{Name: "basis", Type: Hash, Doc: "SHA-256 of what it was computed from: recordings, files, methods, program; kept likewise."},
			{Name: "source", Type: Text, Doc: "Where a number from before this program was published."},
			{Name: "waived", Type: Text, Doc: "Checks that stood against the number and were waived, divided by semicolons."},
			{Name: "replaces", Type: Integer, Low: 1, High: 100000, Doc: "Edition that this one replaces: the one before, unless that was withdrawn."},
			{Name: "because", Type: Text, Doc: reason},
			{Name: "day", Type: Date, Required: true, Doc: "Day of release or withdrawal."},
			by,
		}, OneOf: []Group{{[]string{"edition", "withdraws"}, true}, {[]string{"result", "source", "withdraws"}, true}}},
		{Name: MovesFile, Doc: "Moves of numbers that a person accepts, for drift. One that accepts nothing is an error.", Keys: []Key{
			formatKey,
			{Name: "moves", Type: List, Block: "move", Doc: "The moves."},
		}},
		{Name: "move", Doc: "A number that may differ from what it is compared with.", Keys: []Key{
			number,
			{Name: "edition", Type: Integer, Low: 1, High: 100000, Doc: "Edition of the ledger that it differs from; a newer edition ends the acceptance."},
			{Name: "up_to", Type: Quantity, Dims: dims(quantity.Ratio), Sign: Positive, Doc: "Largest shift accepted, relative to the value compared with."},
			{Name: "gone", Type: YesNo, Doc: "yes: the number is no longer computed."},
			{Name: "because", Type: Text, Required: true, Doc: "The reason."},
			by,
		}, OneOf: []Group{{[]string{"up_to", "gone"}, true}}},
	}
}
