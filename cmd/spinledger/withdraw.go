package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"spinledger/pipeline/store"
)

func withdrawCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var b booking
	c := &cobra.Command{
		Use:   "withdraw NUMBER...",
		Short: "Propose ledger lines that withdraw released numbers",
		Long: `withdraw prints the ledger lines that withdraw the released editions of the numbers named.
The old lines stay as they are; the new ones say who withdrew what, when and why. They are
written into the ledger only with --write.

Exit codes: 0 all named numbers are released and can be withdrawn; 1 one is not; 2 the files or the call are wrong.`,
		Example: `  spinledger withdraw weir-1104/bare/inertia --because "disk drawn wrong" --by KA --day 2026-04-02 --write`,
		Args:    cobra.MinimumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if b.act.Because == "" {
				return fmt.Errorf("got no reason; want --because")
			}
			r, l, err := b.open()
			if err != nil {
				return err
			}
			defer r.Close()
			add, left := l.Withdraw(args, b.act)
			if refused, _ := tell(stderr, left, args); refused {
				return &exitError{1}
			}
			return b.book(disk, stdout, stderr, r, l, add)
		},
	}
	b.flags(c, "the reason")
	return c
}
