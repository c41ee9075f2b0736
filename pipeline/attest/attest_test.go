package attest

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"math/big"
	"slices"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"

	"spinledger/stages/kit/positioned"
)

func sha(digit string) string { return strings.Repeat(digit, 64) }

func sample() Run {
	return Run{
		Jobs: []string{"jobs/b.yaml", "jobs/a.yaml"}, Version: "0.1",
		Inputs:  []File{{"rec/b.csv", sha("2")}, {"rec/a.csv", sha("1")}, {"rec/b.csv", sha("2")}},
		Outputs: []File{{"a/inertias.parquet", sha("a")}},
		// The module and the digest that digest_set.md works through as its example.
		Modules: []Module{{"github.com/marklodato/go-hello-world", "v0.0.1", "h1:Khu2En+0gcYPZ2kuIihfswbzxv/mIHXgzPZ018Oty48="}, {"example.org/none", "v1.0.0", ""}},
	}
}

func TestStatement(t *testing.T) {
	data, err := New(sample()).Bytes()
	if err != nil {
		t.Fatal(err)
	}
	again := sample()
	slices.Reverse(again.Inputs)
	slices.Reverse(again.Jobs)
	other, _ := New(again).Bytes()
	if !bytes.Equal(data, other) {
		t.Errorf("the order of files enters:\n%s\n%s", data, other)
	}
	s, err := Read("a", data)
	if err != nil {
		t.Fatal(err)
	}
	deps := s.Predicate.BuildDefinition.ResolvedDependencies
	if len(deps) != 4 || deps[0].Name != "rec/a.csv" || deps[0].SHA256() != sha("1") || deps[2].Digest["dirHash"] != "2a1bb6127fb481c60f67692e22285fb306f3c6ffe62075e0ccf674d7c3adcb8f" || deps[3].Digest != nil {
		t.Errorf("dependencies %+v", deps)
	}
	if p := s.Predicate.BuildDefinition; !slices.Equal(p.ExternalParameters["jobs"], []string{"jobs/a.yaml", "jobs/b.yaml"}) {
		t.Errorf("parameters %+v", p)
	}
}

// Every rule of the published texts is broken once.
func TestFieldRules(t *testing.T) {
	good, err := New(sample()).Bytes()
	if err != nil {
		t.Fatal(err)
	}
	for from, c := range map[string]struct{ to, want string }{
		StatementType:   {"https://in-toto.io/Statement/v0.1", `a: _type: got "https://in-toto.io/Statement/v0.1"; want "https://in-toto.io/Statement/v1"`},
		PredicateType:   {"https://slsa.dev/provenance/v0.2", `a: predicateType: got "https://slsa.dev/provenance/v0.2"; want "https://slsa.dev/provenance/v1"`},
		buildType:       {"run", `a: predicate.buildDefinition.buildType: got "run"; want a URI`},
		builderID:       {"", `a: predicate.runDetails.builder.id: got ""; want a URI`},
		sha("a"):        {"AA", `a: subject.0.digest.sha256: got "AA"; want lower-case hexadecimal digits of that hash`},
		sha("1"):        {sha("1")[1:] + "G", `a: predicate.buildDefinition.resolvedDependencies.0.digest.sha256: got "` + sha("1")[1:] + `G"; want lower-case hexadecimal digits of that hash`},
		`pkg:golang/e`:  {`e`, `a: predicate.buildDefinition.resolvedDependencies.3.uri: got "example.org/none@v1.0.0"; want a URI`},
		`"subject"`:     {`"subjects"`, `a: subject: got nothing; want an array of resources`},
		`"externalPara`: {`"otherPara`, `a: predicate.buildDefinition.externalParameters: got nothing; want an object`},
		`"sha256": "` + sha("a") + `"`: {"", `a: subject.0.digest: got nothing; want at least one digest
a: subject.0: got neither uri nor digest nor content; want at least one of them`},
	} {
		data := strings.Replace(string(good), from, c.to, 1)
		_, err := Read("a", []byte(data))
		var got []string
		for _, e := range positioned.All(err) {
			got = append(got, e.Error())
		}
		want := strings.Split(c.want, "\n")
		slices.Sort(got)
		slices.Sort(want)
		if data == string(good) || !slices.Equal(got, want) {
			t.Errorf("%s -> %s: got\n%s\nwant\n%s", from, c.to, strings.Join(got, "\n"), c.want)
		}
	}
	twice := sample()
	twice.Outputs = append(twice.Outputs, File{"a/inertias.parquet", sha("b")})
	data, _ := New(twice).Bytes()
	if _, err := Read("a", data); err == nil || err.Error() != "a: subject.1.name: got a/inertias.parquet a second time; want names that are unique" {
		t.Error(err)
	}
	// Unknown fields are ignored, by the parsing rules.
	if _, err := Read("a", bytes.Replace(good, []byte(`"_type"`), []byte(`"later": 1, "_type"`), 1)); err != nil {
		t.Error(err)
	}
}

// The test vector of DSSE 1.0, protocol.md: the encoding, and an ECDSA P-256 signature as r and s.
func TestPublishedVector(t *testing.T) {
	text := pae("http://example.com/HelloWorld", []byte("hello world"))
	if string(text) != "DSSEv1 29 http://example.com/HelloWorld 11 hello world" {
		t.Fatalf("%q", text)
	}
	point := []byte{4} // uncompressed: 4, X, Y (SEC 1, 2.3.3)
	for _, s := range []string{
		"46950820868899156662930047687818585632848591499744589407958293238635476079160",
		"5640078356564379163099075877009565129882514886557779369047442380624545832820",
	} {
		n, _ := new(big.Int).SetString(s, 10)
		point = append(point, n.FillBytes(make([]byte, 32))...)
	}
	key, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), point)
	if err != nil {
		t.Fatal(err)
	}
	sig, err := decode("A3JqsQGtVsJ2O2xqrI5IcnXip5GToJ3F+FnZ+O88SjtR6rDAajabZKciJTfUiHqJPcIAriEGAHTVeCUjW2JIZA==")
	if err != nil || !holds(key, text, sig) {
		t.Error("the published signature does not hold")
	}
	sig[10] ^= 1
	if holds(key, text, sig) {
		t.Error("an altered signature holds")
	}
}

// keys of each kind, as files that ssh-keygen and openssl write.
func keys(t *testing.T) map[string][2][]byte {
	t.Helper()
	out := map[string][2][]byte{}
	_, ed, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	ec, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	rs, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	for name, k := range map[string]crypto.Signer{"ed25519": ed, "ecdsa": ec, "rsa": rs} {
		block, err := ssh.MarshalPrivateKey(k, "")
		if err != nil {
			t.Fatal(err)
		}
		public, err := ssh.NewPublicKey(k.Public())
		if err != nil {
			t.Fatal(err)
		}
		out[name+" OpenSSH"] = [2][]byte{pem.EncodeToMemory(block), ssh.MarshalAuthorizedKey(public)}
		private, err := x509.MarshalPKCS8PrivateKey(k)
		if err != nil {
			t.Fatal(err)
		}
		spki, err := x509.MarshalPKIXPublicKey(k.Public())
		if err != nil {
			t.Fatal(err)
		}
		out[name+" PEM"] = [2][]byte{pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: private}), pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: spki})}
	}
	return out
}

func TestSignAndOpen(t *testing.T) {
	body, _ := New(sample()).Bytes()
	all := keys(t)
	for name, k := range all {
		private, err := PrivateKey("key", k[0], nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		public, err := PublicKeys("pub", k[1])
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		envelope, err := Sign(body, private)
		if err != nil {
			t.Fatal(err)
		}
		got, signer, err := Open("e", envelope, public)
		if err != nil || !bytes.Equal(got, body) || signer != Fingerprint(private.Public()) || !strings.HasPrefix(signer, "SHA256:") {
			t.Errorf("%s: %s, %v", name, signer, err)
		}
		// Another key, and another payload under the same signature.
		for other, o := range all {
			if strings.Fields(other)[0] == strings.Fields(name)[0] {
				continue
			}
			strange, _ := PublicKeys("pub", o[1])
			if got, _, err := Open("e", envelope, strange); err == nil || got != nil {
				t.Errorf("%s opens with the key of %s", name, other)
			}
		}
		altered := bytes.Replace(body, []byte(sha("a")), []byte(sha("b")), 1)
		forged := bytes.Replace(envelope, []byte(base64.StdEncoding.EncodeToString(body)), []byte(base64.StdEncoding.EncodeToString(altered)), 1)
		if got, _, err := Open("e", forged, public); err == nil || got != nil || err.Error() != "e: signatures: got 1 signatures, none of a key given; want one that holds" {
			t.Errorf("%s: a forged payload opens: %v", name, err)
		}
	}
}

func TestKeysRefused(t *testing.T) {
	small, err := rsa.GenerateKey(rand.Reader, 1024)
	if err != nil {
		t.Fatal(err)
	}
	block, _ := ssh.MarshalPrivateKey(small, "")
	if _, err := PrivateKey("key", pem.EncodeToMemory(block), nil); err == nil || !strings.HasPrefix(err.Error(), "key: got a key of type *rsa.PrivateKey; want ") {
		t.Error(err)
	}
	_, ed, _ := ed25519.GenerateKey(rand.Reader)
	block, err = ssh.MarshalPrivateKeyWithPassphrase(ed, "", []byte("secret"))
	if err != nil {
		t.Fatal(err)
	}
	locked := pem.EncodeToMemory(block)
	if _, err := PrivateKey("key", locked, nil); err != ErrPassphrase {
		t.Error(err)
	}
	if k, err := PrivateKey("key", locked, []byte("secret")); err != nil || !ed.Public().(ed25519.PublicKey).Equal(k.Public()) {
		t.Error(err)
	}
	if _, err := PrivateKey("key", locked, []byte("wrong")); err == nil || !strings.HasPrefix(err.Error(), "key: got no private key: ") {
		t.Error(err)
	}
	for text, want := range map[string]string{"": "pub: got no key; want ", "ssh-ed25519 AAAA": "pub: got no public key: "} {
		if _, err := PublicKeys("pub", []byte(text)); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	for text, want := range map[string]string{
		"{}": `e: payloadType: got ""; want application/vnd.in-toto+json`,
		"[]": "e: got no envelope: ",
		`{"payloadType":"` + PayloadType + `","payload":"%"}`: "e: payload: got no base64; want the statement in base64",
	} {
		if _, _, err := Open("e", []byte(text), nil); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%s: %v", text, err)
		}
	}
}
