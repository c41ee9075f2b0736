package main

import (
	"crypto"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"spinledger/pipeline"
	"spinledger/pipeline/attest"
	"spinledger/pipeline/store"
	"spinledger/stages/kit/positioned"
)

func attestCommand(disk store.Disk, stdout, stderr io.Writer) *cobra.Command {
	var root, in, key, trusted string
	c := &cobra.Command{
		Use:   "attest",
		Short: "Check a run's attestation against its files; sign it; check a signature",
		Long: `run writes attestation.json: an in-toto statement with SLSA provenance over every
output's and every input's SHA-256. attest compares it with the files and logs. With --key
it then signs it with an OpenSSH or PKCS #8 private key (Ed25519, ECDSA P-256 or RSA) and
writes the DSSE envelope attestation.dsse.json beside it; with --trusted it checks the
envelope by public keys, one a line as in a .pub file, and compares its statement with the files.

Exit codes: 0 all matches; 1 a file, the statement or the signature does not; 2 the call is wrong.`,
		Example: "  spinledger attest\n  spinledger attest --key ~/.ssh/id_ed25519\n  spinledger attest --trusted bench.pub",
		Args:    cobra.NoArgs,
		RunE: func(_ *cobra.Command, _ []string) error {
			if key != "" && trusted != "" {
				return errors.New("attest: got --key and --trusted; want one of them")
			}
			e, done, err := openEvidence(in, root)
			if err != nil {
				return err
			}
			defer done()
			statement, signer, err := statementOf(e, trusted)
			if err == nil {
				err = e.Attested(statement)
			}
			if err != nil {
				fmt.Fprintln(stderr, err)
				return &exitError{1}
			}
			if key != "" {
				if signer, err = sign(disk, in, key, statement, stderr); err != nil {
					return err
				}
				_, err = fmt.Fprintf(stdout, "%s: signed with %s\n", in, signer)
				return err
			}
			if signer != "" {
				signer = ", signed by " + signer
			}
			_, err = fmt.Fprintf(stdout, "%s: every file as attested%s\n", in, signer)
			return err
		},
	}
	c.Flags().StringVar(&in, "in", "out", "output folder, or an archive")
	c.Flags().StringVar(&root, "root", ".", "folder that the inputs of an output folder lie below")
	c.Flags().StringVar(&key, "key", "", "private key to sign with")
	c.Flags().StringVar(&trusted, "trusted", "", "file of public keys, one of which must have signed")
	return c
}

// maxStatement bounds an attestation: a catalogue of ten thousand recordings takes some megabytes.
const maxStatement = 256 << 20

// statementOf is the statement as it lies there, or out of the envelope when keys are trusted.
func statementOf(e pipeline.Evidence, trusted string) (statement []byte, signer string, err error) {
	if trusted == "" {
		statement, _, err = store.ReadFile(e.Out, pipeline.AttestationFile, maxStatement)
		return statement, "", err
	}
	data, err := store.ReadSmall(trusted)
	if err != nil {
		return nil, "", err
	}
	keys, err := attest.PublicKeys(trusted, data)
	if err != nil {
		return nil, "", err
	}
	envelope, _, err := store.ReadFile(e.Out, pipeline.EnvelopeFile, 2*maxStatement)
	if err != nil {
		return nil, "", err
	}
	return attest.Open(pipeline.EnvelopeFile, envelope, keys)
}

// sign writes the envelope into an output folder and gives the key's fingerprint.
func sign(disk store.Disk, in, name string, statement []byte, stderr io.Writer) (string, error) {
	key, err := privateKey(name, stderr)
	if err != nil {
		return "", err
	}
	envelope, err := attest.Sign(statement, key)
	if err != nil {
		return "", err
	}
	if !store.IsFolder(in) {
		return "", &positioned.Error{File: in, Got: "a zip file", Want: "an output folder: sign before archiving"}
	}
	o, err := store.OpenOutput(in, disk, store.OutputOptions{})
	if err != nil {
		return "", err
	}
	defer o.Close()
	_, err = o.Write(pipeline.EnvelopeFile, func(w io.Writer) error {
		_, err := w.Write(envelope)
		return err
	})
	return attest.Fingerprint(key.Public()), err
}

// privateKey reads a key and asks for its passphrase on a terminal.
func privateKey(name string, stderr io.Writer) (crypto.Signer, error) {
	data, err := store.ReadSmall(name)
	if err != nil {
		return nil, err
	}
	key, err := attest.PrivateKey(name, data, nil)
	if !errors.Is(err, attest.ErrPassphrase) {
		return key, err
	}
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		return nil, &positioned.Error{File: name, Got: "a key with a passphrase", Want: "a terminal to ask for it, or a key without one"}
	}
	fmt.Fprintf(stderr, "passphrase of %s: ", name)
	phrase, err := term.ReadPassword(int(os.Stdin.Fd()))
	fmt.Fprintln(stderr)
	if err != nil {
		return nil, err
	}
	return attest.PrivateKey(name, data, phrase)
}
