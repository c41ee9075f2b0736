package pipeline

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"hash/crc64"
	"strconv"
	"strings"

	"spinledger/pipeline/store"
)

// receiptsFile stands in the output folder and is covered by no hash. Everything in
// it can be lost: the next run then computes what it can no longer vouch for.
//
// It begins with receiptsHead. Then come records, one a job and one of the catalogue, the
// last of a job counting; they are added as jobs are done, so that a killed run keeps what it
// finished. A record is a line "record LENGTH CRC" and LENGTH bytes with that CRC-64 (ECMA-182; it
// finds damage, and is read at each run): lines of fields divided by tabs, names and texts as Go quotes them.
//
//	job     id, its job file; both empty in the catalogue's record
//	program SHA-256 of the program's file; "clean" if it was built from a state that has a version
//	state   recordings, "failed" or "good", "whole" or "partial", SHA-256 of the job's summary.json
//	mark    SHA-256 of what its numbers and files are; empty in the catalogue's record
//	text    the summary as printed
//	file    SHA-256, size, name: job, bench and parts files
//	rec     as file, then mtime, ctime, inode, the second (UTC) when the bytes were last read:
//	        recordings; in the catalogue's record the program's own file
//	out     as file, then mtime, ctime, inode: outputs below the output folder
//
// A rec that was not read in a run's time was taken as unchanged by size, mtime, ctime and
// inode: its hash is a remembered one.
const (
	receiptsFile = ".spinledger-receipts"
	receiptsHead = "spinledger receipts 2\n"
	// maxReceipts bounds the file: 100,000 jobs of ten recordings.
	maxReceipts = 1 << 30
)

// seen is a file with its digest, and its stamp when it had that digest; the zero
// stamp where it could not be told.
type seen struct {
	name   string
	digest store.Digest
	stamp  store.Stamp
	// read is when the bytes were last read, in seconds of Unix time; only for recordings.
	read int64
}

// receipt is what is known of a job that was computed and written.
type receipt struct {
	job, file string
	program   string
	clean     bool
	// recordings counts those declared; partial is true where one could not be read,
	// which may have been the disk's fault: then the job is looked at each time.
	recordings int
	failed     bool
	partial    bool
	// result is the SHA-256 of the job's summary; of the catalogue what it was made of.
	result string
	// mark is a digest of everything that the catalogue is made of and its attestation speaks of.
	mark  string
	text  string
	files []seen
	recs  []seen
	outs  []seen
	// size of the record in the file it was read from.
	size int
}

var crcTable = crc64.MakeTable(crc64.ECMA)

// encode is the record with its head.
func (r *receipt) encode() []byte {
	var b bytes.Buffer
	word := func(yes bool, a, b string) string {
		if yes {
			return a
		}
		return b
	}
	fmt.Fprintf(&b, "job\t%q\t%q\n", r.job, r.file)
	fmt.Fprintf(&b, "program\t%s\t%s\n", r.program, word(r.clean, "clean", "modified"))
	fmt.Fprintf(&b, "state\t%d\t%s\t%s\t%s\n", r.recordings, word(r.failed, "failed", "good"), word(r.partial, "partial", "whole"), r.result)
	fmt.Fprintf(&b, "mark\t%s\n", r.mark)
	fmt.Fprintf(&b, "text\t%q\n", r.text)
	for _, f := range r.files {
		fmt.Fprintf(&b, "file\t%s\t%d\t%q\n", f.digest.SHA256, f.digest.Size, f.name)
	}
	for _, f := range r.recs {
		fmt.Fprintf(&b, "rec\t%s\t%d\t%q\t%d\t%d\t%d\t%d\n", f.digest.SHA256, f.digest.Size, f.name, f.stamp.MTime, f.stamp.CTime, f.stamp.Inode, f.read)
	}
	for _, f := range r.outs {
		fmt.Fprintf(&b, "out\t%s\t%d\t%q\t%d\t%d\t%d\n", f.digest.SHA256, f.digest.Size, f.name, f.stamp.MTime, f.stamp.CTime, f.stamp.Inode)
	}
	return append(fmt.Appendf(nil, "record %d %016x\n", b.Len(), crc64.Checksum(b.Bytes(), crcTable)), b.Bytes()...)
}

// marked is the mark: a file that moved no number changes it too, since the attestation names it.
func (r *receipt) marked() string {
	sum := sha256.New()
	fmt.Fprintf(sum, "%q %s\n", r.job, r.result)
	for _, list := range [][]seen{r.files, r.recs, r.outs} {
		for _, f := range list {
			fmt.Fprintf(sum, "%q %s\n", f.name, f.digest.SHA256)
		}
	}
	return fmt.Sprintf("%x", sum.Sum(nil))
}

// receipts is the file as read.
type receipts struct {
	// byJob and byFile hold the last record of each job; catalogue the catalogue's.
	byJob, byFile map[string]*receipt
	order         []string
	catalogue     *receipt
	// size of the file, and of the records that count; whole is false where a byte of it is wrong.
	size, live int
	whole      bool
}

// parseReceipts reads what can be trusted of the file, its records side by side.
func parseReceipts(data []byte, g gate) *receipts {
	all := &receipts{byJob: map[string]*receipt{}, byFile: map[string]*receipt{}, size: len(data)}
	rest, ok := strings.CutPrefix(string(data), receiptsHead)
	if !ok {
		return all
	}
	all.whole = true
	var records []record
	for rest != "" {
		var c record
		if c, rest, ok = cutRecord(rest); !ok {
			all.whole = false
			break
		}
		records = append(records, c)
	}
	// A gate passes every one of them, so that there is no error to return.
	read := make([]*receipt, len(records))
	_ = each(len(records), g, func(i int) error {
		read[i] = records[i].parse()
		return nil
	})
	for _, r := range read {
		if r == nil {
			all.whole = false
			continue
		}
		all.add(r)
	}
	return all
}

// record is a record's body and the CRC that its head claims for it.
type record struct{ body, sum string }

// cutRecord cuts the first record off.
func cutRecord(text string) (c record, rest string, ok bool) {
	head, rest, ok := strings.Cut(text, "\n")
	head, is := strings.CutPrefix(head, "record ")
	size, sum, two := strings.Cut(head, " ")
	length, err := strconv.Atoi(size)
	if !ok || !is || !two || err != nil || length < 0 || length > len(rest) {
		return record{}, "", false
	}
	return record{rest[:length], sum}, rest[length:], true
}

// parse is nil where the CRC is wrong or a line is not as written.
func (c record) parse() *receipt {
	if fmt.Sprintf("%016x", crc64.Checksum([]byte(c.body), crcTable)) != c.sum {
		return nil
	}
	r, ok := parseReceipt(c.body)
	if !ok {
		return nil
	}
	r.size = len(c.body)
	return r
}

func (all *receipts) add(r *receipt) {
	all.live += r.size
	if r.job == "" {
		if all.catalogue != nil {
			all.live -= all.catalogue.size
		}
		all.catalogue = r
		return
	}
	if old := all.byJob[r.job]; old != nil {
		delete(all.byFile, old.file)
		all.live -= old.size
	} else {
		all.order = append(all.order, r.job)
	}
	all.byJob[r.job], all.byFile[r.file] = r, r
}

// parseReceipt reads a record's lines.
func parseReceipt(body string) (*receipt, bool) {
	r := &receipt{recs: make([]seen, 0, strings.Count(body, "\nrec\t")), outs: make([]seen, 0, strings.Count(body, "\nout\t"))}
	p := fields{}
	for body != "" {
		line, after, ok := strings.Cut(body, "\n")
		if !ok {
			return nil, false
		}
		body, p.rest = after, line
		switch p.next() {
		case "job":
			r.job, r.file = p.text(), p.text()
		case "program":
			r.program, r.clean = p.next(), p.next() == "clean"
		case "state":
			r.recordings, r.failed, r.partial, r.result = int(p.int()), p.next() == "failed", p.next() == "partial", p.next()
		case "mark":
			r.mark = p.next()
		case "text":
			r.text = p.text()
		case "file":
			r.files = append(r.files, p.seen(false))
		case "rec":
			f := p.seen(true)
			f.read = p.int()
			r.recs = append(r.recs, f)
		case "out":
			r.outs = append(r.outs, p.seen(true))
		default:
			return nil, false
		}
		if p.bad || p.rest != "" {
			return nil, false
		}
	}
	return r, r.program != ""
}

// fields reads a line's fields one by one.
type fields struct {
	rest string
	bad  bool
}

func (p *fields) next() string {
	f, rest, _ := strings.Cut(p.rest, "\t")
	p.rest = rest
	return f
}

func (p *fields) text() string {
	f := p.next()
	// Most names are plain, and there are tens of thousands.
	if n := len(f); n > 1 && f[0] == '"' && f[n-1] == '"' && strings.IndexByte(f, '\\') < 0 && strings.IndexByte(f[1:n-1], '"') < 0 {
		return f[1 : n-1]
	}
	s, err := strconv.Unquote(f)
	p.bad = p.bad || err != nil
	return s
}

func (p *fields) int() int64 {
	v, err := strconv.ParseInt(p.next(), 10, 64)
	p.bad = p.bad || err != nil
	return v
}

func (p *fields) seen(stamped bool) seen {
	f := seen{digest: store.Digest{SHA256: p.next(), Size: p.int()}, name: p.text()}
	if stamped {
		mtime, ctime, inode := p.int(), p.int(), p.next()
		n, err := strconv.ParseUint(inode, 10, 64)
		p.bad = p.bad || err != nil
		if mtime != 0 || ctime != 0 || n != 0 {
			f.stamp = store.Stamp{Size: f.digest.Size, MTime: mtime, CTime: ctime, Inode: n}
		}
	}
	return f
}
