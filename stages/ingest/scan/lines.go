package scan

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"spinledger/stages/kit/positioned"
)

// lines cuts a byte stream into lines, keeping one buffer.
type lines struct {
	file string
	r    io.Reader
	buf  []byte
	// buf[start:end] is read and not yet given out.
	start, end int
	longest    int
	// line is the number of the line last given out.
	line int
	// done is set once r has ended; stop is why, where it was not a plain end.
	done bool
	stop error
	// nul is set once a NUL byte was seen anywhere.
	nul bool
}

const readSize = 256 << 10

func newLines(r io.Reader, file string, longest int) *lines {
	return &lines{file: file, r: r, buf: make([]byte, min(readSize, longest+2)+slack), longest: longest}
}

// next gives the next line without its end. newline tells whether an end was
// there. ok is false at the end of the stream. The line is valid until the next call.
func (l *lines) next() (line []byte, newline, ok bool, err *positioned.Error) {
	scanned := 0
	for {
		if i := bytes.IndexByte(l.buf[l.start+scanned:l.end], '\n'); i >= 0 {
			stop := l.start + scanned + i
			line = l.buf[l.start:stop]
			l.start = stop + 1
			newline = true
			break
		}
		scanned = l.end - l.start
		if l.done {
			if scanned == 0 {
				return nil, false, false, nil
			}
			line = l.buf[l.start:l.end]
			l.start = l.end
			break
		}
		if scanned > l.longest {
			return nil, false, false, l.tooLong()
		}
		l.fill()
	}
	l.line++
	if len(line) > l.longest {
		l.line--
		return nil, false, false, l.tooLong()
	}
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	if l.nul {
		if i := bytes.IndexByte(line, 0); i >= 0 {
			return nil, false, false, &positioned.Error{File: l.file, Line: l.line, Col: i + 1,
				Got: "a NUL byte", Want: "plain text", Hint: "UTF-16 or binary data? write UTF-8"}
		}
	}
	return line, newline, true, nil
}

func (l *lines) tooLong() *positioned.Error {
	return &positioned.Error{File: l.file, Line: l.line + 1,
		Got: fmt.Sprintf("a line of more than %d bytes", l.longest), Want: "lines of a table of numbers"}
}

// fill reads more, after moving what is left to the front and growing the
// buffer where a line fills it.
func (l *lines) fill() {
	if l.start > 0 {
		copy(l.buf, l.buf[l.start:l.end])
		l.end -= l.start
		l.start = 0
	}
	room := len(l.buf) - slack
	if l.end == room {
		room = min(2*room, l.longest+2)
		bigger := make([]byte, room+slack)
		copy(bigger, l.buf[:l.end])
		l.buf = bigger
	}
	// A reader that gives neither bytes nor an error is asked a few times only.
	for range 100 {
		n, err := l.r.Read(l.buf[l.end:room])
		if n > 0 && bytes.IndexByte(l.buf[l.end:l.end+n], 0) >= 0 {
			l.nul = true
		}
		l.end += n
		if err != nil {
			l.done = true
			if !errors.Is(err, io.EOF) {
				l.stop = err
			}
			return
		}
		if n > 0 {
			return
		}
	}
	l.done, l.stop = true, io.ErrNoProgress
}
