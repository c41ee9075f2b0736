package attest

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"

	"golang.org/x/crypto/ssh"

	"spinledger/stages/kit/positioned"
)

// Envelope is a signed payload, by DSSE 1.0.
type Envelope struct {
	Payload     string      `json:"payload"`
	PayloadType string      `json:"payloadType"`
	Signatures  []Signature `json:"signatures"`
}

// Signature is one of them; KeyID, the key's fingerprint as ssh-keygen -l shows it,
// is a hint and decides nothing.
type Signature struct {
	KeyID string `json:"keyid,omitempty"`
	Sig   string `json:"sig"`
}

// pae is the encoding that is signed: type and body with their lengths, so that neither can
// be taken for part of the other (DSSE 1.0, protocol.md).
func pae(kind string, body []byte) []byte {
	return append(fmt.Appendf(nil, "DSSEv1 %d %s %d ", len(kind), kind, len(body)), body...)
}

// ErrPassphrase is returned for a private key that needs one.
var ErrPassphrase = errors.New("the key needs a passphrase")

// PrivateKey reads an OpenSSH private key or a PKCS #8 PEM block: Ed25519, ECDSA P-256 or RSA.
// ErrPassphrase asks for a passphrase, nil where there is none.
func PrivateKey(name string, data, passphrase []byte) (crypto.Signer, error) {
	var raw any
	var err error
	if passphrase == nil {
		raw, err = ssh.ParseRawPrivateKey(data)
	} else {
		raw, err = ssh.ParseRawPrivateKeyWithPassphrase(data, passphrase)
	}
	var missing *ssh.PassphraseMissingError
	if errors.As(err, &missing) {
		return nil, ErrPassphrase
	}
	want := "an OpenSSH or PKCS #8 private key (Ed25519, ECDSA P-256 or RSA)"
	if err != nil {
		return nil, &positioned.Error{File: name, Got: "no private key: " + err.Error(), Want: want}
	}
	if k, ok := raw.(*ed25519.PrivateKey); ok {
		raw = *k
	}
	key, ok := raw.(crypto.Signer)
	if !ok || !usable(key.Public()) {
		return nil, &positioned.Error{File: name, Got: fmt.Sprintf("a key of type %T", raw), Want: want}
	}
	return key, nil
}

// PublicKeys reads keys in OpenSSH's form, one a line, or PEM blocks.
func PublicKeys(name string, data []byte) ([]crypto.PublicKey, error) {
	var out []crypto.PublicKey
	want := "OpenSSH public keys, one a line, or PEM blocks (Ed25519, ECDSA P-256 or RSA)"
	if block, _ := pem.Decode(data); block != nil {
		for ; block != nil; block, data = pem.Decode(data) {
			key, err := x509.ParsePKIXPublicKey(block.Bytes)
			if err != nil {
				return nil, &positioned.Error{File: name, Got: "no public key: " + err.Error(), Want: want}
			}
			out = append(out, key)
		}
	} else {
		for rest := data; len(bytes.TrimSpace(rest)) > 0; {
			key, _, _, more, err := ssh.ParseAuthorizedKey(rest)
			if err != nil {
				return nil, &positioned.Error{File: name, Got: "no public key: " + err.Error(), Want: want}
			}
			if k, ok := key.(ssh.CryptoPublicKey); ok {
				out = append(out, k.CryptoPublicKey())
			}
			rest = more
		}
	}
	for _, k := range out {
		if !usable(k) {
			return nil, &positioned.Error{File: name, Got: fmt.Sprintf("a key of type %T", k), Want: want}
		}
	}
	if len(out) == 0 {
		return nil, &positioned.Error{File: name, Got: "no key", Want: want}
	}
	return out, nil
}

// usable keys: RSA from 2048 bits (NIST SP 800-131A), ECDSA on P-256 alone.
func usable(k crypto.PublicKey) bool {
	switch k := k.(type) {
	case ed25519.PublicKey:
		return true
	case *ecdsa.PublicKey:
		return k.Curve == elliptic.P256()
	case *rsa.PublicKey:
		return k.N.BitLen() >= 2048
	}
	return false
}

// Fingerprint is that of ssh-keygen -l, "SHA256:...".
func Fingerprint(k crypto.PublicKey) string {
	key, err := ssh.NewPublicKey(k)
	if err != nil {
		return ""
	}
	return ssh.FingerprintSHA256(key)
}

// Sign wraps a statement's bytes in an envelope. Ed25519 signs the encoding itself, ECDSA its
// SHA-256 (ASN.1), RSA its SHA-256 by PSS; with Ed25519 the envelope's bytes are the same each time.
func Sign(statement []byte, key crypto.Signer) ([]byte, error) {
	text := pae(PayloadType, statement)
	digest := sha256.Sum256(text)
	var sig []byte
	var err error
	switch key.Public().(type) {
	case ed25519.PublicKey:
		sig, err = key.Sign(rand.Reader, text, crypto.Hash(0))
	case *rsa.PublicKey:
		sig, err = key.Sign(rand.Reader, digest[:], &rsa.PSSOptions{SaltLength: rsa.PSSSaltLengthEqualsHash, Hash: crypto.SHA256})
	default:
		sig, err = key.Sign(rand.Reader, digest[:], crypto.SHA256)
	}
	if err != nil {
		return nil, err
	}
	e := Envelope{Payload: base64.StdEncoding.EncodeToString(statement), PayloadType: PayloadType,
		Signatures: []Signature{{KeyID: Fingerprint(key.Public()), Sig: base64.StdEncoding.EncodeToString(sig)}}}
	out, err := json.Marshal(e)
	return append(out, '\n'), err
}

// Open gives an envelope's payload and the fingerprint of the key that signed it, one
// of the keys given. The payload is returned only when a signature holds.
func Open(name string, data []byte, keys []crypto.PublicKey) (payload []byte, signer string, err error) {
	var e Envelope
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, "", &positioned.Error{File: name, Got: "no envelope: " + err.Error(), Want: "a DSSE envelope"}
	}
	if e.PayloadType != PayloadType {
		return nil, "", &positioned.Error{File: name, Field: "payloadType", Got: fmt.Sprintf("%q", e.PayloadType), Want: PayloadType}
	}
	if payload, err = decode(e.Payload); err != nil {
		return nil, "", &positioned.Error{File: name, Field: "payload", Got: "no base64", Want: "the statement in base64"}
	}
	for _, s := range e.Signatures {
		sig, err := decode(s.Sig)
		if err != nil {
			continue
		}
		for _, k := range keys {
			if holds(k, pae(e.PayloadType, payload), sig) {
				return payload, Fingerprint(k), nil
			}
		}
	}
	return nil, "", &positioned.Error{File: name, Field: "signatures", Got: fmt.Sprintf("%d signatures, none of a key given", len(e.Signatures)), Want: "one that holds"}
}

// decode takes standard and URL-safe base64, as a verifier must.
func decode(s string) ([]byte, error) {
	if out, err := base64.StdEncoding.DecodeString(s); err == nil {
		return out, nil
	}
	return base64.URLEncoding.DecodeString(s)
}

// holds checks a signature. ECDSA's may be ASN.1 or r and s one after the other, both of which are in use.
func holds(k crypto.PublicKey, text, sig []byte) bool {
	digest := sha256.Sum256(text)
	switch k := k.(type) {
	case ed25519.PublicKey:
		return ed25519.Verify(k, text, sig)
	case *ecdsa.PublicKey:
		if len(sig) == 64 && ecdsa.Verify(k, digest[:], new(big.Int).SetBytes(sig[:32]), new(big.Int).SetBytes(sig[32:])) {
			return true
		}
		return ecdsa.VerifyASN1(k, digest[:], sig)
	case *rsa.PublicKey:
		return rsa.VerifyPSS(k, crypto.SHA256, digest[:], sig, &rsa.PSSOptions{SaltLength: rsa.PSSSaltLengthEqualsHash}) == nil
	}
	return false
}
