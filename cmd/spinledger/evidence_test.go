package main

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/pem"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

// A run is signed with a key that a user has, and the signature checked; another key is refused.
func TestSignedAttestation(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	if code, _, stderr := invoke("run", "--root", root, "--out", out, root+"/testdata/smallest/mini.yaml"); code != 0 {
		t.Fatal(stderr)
	}
	for _, name := range []string{"mine", "other"} {
		public, private, err := ed25519.GenerateKey(rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		block, err := ssh.MarshalPrivateKey(private, "")
		if err != nil {
			t.Fatal(err)
		}
		put(t, dir, name, string(pem.EncodeToMemory(block)))
		key, err := ssh.NewPublicKey(public)
		if err != nil {
			t.Fatal(err)
		}
		put(t, dir, name+".pub", string(ssh.MarshalAuthorizedKey(key)))
	}
	attest := func(want int, text string, args ...string) {
		t.Helper()
		code, stdout, stderr := invoke(append([]string{"attest", "--in", out, "--root", root}, args...)...)
		if code != want || !strings.Contains(stdout+stderr, text) {
			t.Errorf("%q: exit %d, %s%s; want %d, %s", args, code, stdout, stderr, want, text)
		}
	}
	attest(0, "every file as attested\n")
	attest(1, "attestation.dsse.json: got no such file", "--trusted", dir+"/mine.pub")
	attest(0, ": signed with SHA256:", "--key", dir+"/mine")
	attest(0, "every file as attested, signed by SHA256:", "--trusted", dir+"/mine.pub")
	attest(1, "none of a key given; want one that holds", "--trusted", dir+"/other.pub")
	attest(2, "mine.pub: got no private key", "--key", dir+"/mine.pub")
	attest(2, "got --key and --trusted; want one of them", "--key", "a", "--trusted", "b")
	put(t, out, "mini/fits.parquet", "x")
	attest(1, "mini/fits.parquet: got SHA-256 ", "--trusted", dir+"/mine.pub")
	attest(1, "mini/fits.parquet: got SHA-256 ", "--key", dir+"/mine")
}

// The steps that the README walks by hand give the digests that audit prints, with
// nothing but what sed, tr and sha256sum do.
func TestAuditByHand(t *testing.T) {
	readme, err := os.ReadFile(root + "/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(readme), "### By hand\n")
	block := regexp.MustCompile("(?s)```console\n(.*?)```").FindStringSubmatch(section)
	if !ok || block == nil {
		t.Fatal("README.md has no section By hand with commands")
	}
	out := filepath.Join(t.TempDir(), "out")
	if code, _, stderr := invoke("run", "--root", root, "--out", out, root+"/jobs"); code != 0 {
		t.Fatal(stderr)
	}
	file := func(name string) []byte {
		path := filepath.Join(root, name)
		if rest, ok := strings.CutPrefix(name, "out/"); ok {
			path = filepath.Join(out, rest)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	line := func(n, name string) string {
		k, _ := strconv.Atoi(n)
		return strings.Split(string(file(name)), "\n")[k-1]
	}
	audit, done := "", map[string]int{}
	for _, command := range strings.Split(strings.TrimSpace(block[1]), "\n") {
		command, _, _ = strings.Cut(strings.TrimPrefix(command, "$ "), "#")
		command = strings.TrimSpace(command)
		if args, ok := strings.CutPrefix(command, "go run ./cmd/spinledger audit "); ok {
			done["audit"]++
			code, stdout, stderr := invoke("audit", "--in", out, "--root", root, args)
			if code != 0 {
				t.Fatal(stdout, stderr)
			}
			audit = stdout
			continue
		}
		result := regexp.MustCompile(`^sed -n (\d+)p (\S+) \| tr -d '\\n' \| sha256sum$`).FindStringSubmatch(command)
		text := regexp.MustCompile(`^sed -n (\d+)p (\S+)$`).FindStringSubmatch(command)
		switch {
		case result != nil:
			done["result"]++
			want := fmt.Sprintf(`(?m)^ *%s \S+ .*\n(?:       .*\n)?     %x$`, result[1], sha256.Sum256([]byte(line(result[1], result[2]))))
			if !regexp.MustCompile(want).MatchString(audit) {
				t.Errorf("%s: audit has no %s", command, want)
			}
		case text != nil && strings.HasSuffix(text[2], ".yaml"):
			done["declaration"]++
			if at := text[2] + ":" + text[1] + ":"; !strings.Contains(audit, at) {
				t.Errorf("%s: audit has no %s", command, at)
			}
		case text != nil:
			done["step"]++
			if !strings.HasPrefix(line(text[1], text[2]), `{"n":`+text[1]+`,`) {
				t.Errorf("%s: not step %s", command, text[1])
			}
		case strings.HasPrefix(command, "sha256sum "):
			for _, name := range strings.Fields(command)[1:] {
				done["file"]++
				want := fmt.Sprintf("%s, %d bytes\n     %x\n", strings.TrimPrefix(name, "out/"), len(file(name)), sha256.Sum256(file(name)))
				if !strings.Contains(audit, want) && !strings.Contains(audit, strings.ReplaceAll(want, "     ", "  ")) {
					t.Errorf("%s: audit has no %s", command, want)
				}
			}
		default:
			t.Errorf("README.md: no hand does %q", command)
		}
	}
	for kind, least := range map[string]int{"audit": 1, "result": 3, "declaration": 1, "step": 1, "file": 5} {
		if done[kind] < least {
			t.Errorf("%d commands of kind %s, want at least %d", done[kind], kind, least)
		}
	}
}
