package job

import (
	"regexp"

	"spinledger/stages/kit/quantity"
)

// Type says how a key's value is written.
type Type string

// The types of value.
const (
	// Map holds the keys of one block; Named maps names to blocks; List is a list of
	// blocks and OneOrList one block or a list of them; Reasons maps names to texts;
	// Names and Paths are lists of scalars.
	Map       Type = "map"
	Named     Type = "map of names"
	List      Type = "list"
	OneOrList Type = "one or a list"
	Reasons   Type = "map of names to texts"
	Names     Type = "list of names"
	Paths     Type = "list of file names"

	Text     Type = "text"
	Name     Type = "name"
	Path     Type = "file name"
	Integer  Type = "whole number"
	Quantity Type = "quantity"
	Sequence Type = "quantities with -> between"
	Choice   Type = "choice"
	Date     Type = "date"
	Hash     Type = "SHA-256"
	YesNo    Type = "yes or no"
	// Column names a column of a recording; UnitName is a unit alone; Averaging is
	// what a converter does; Reading is a quantity or a plain number of counts.
	Column    Type = "column"
	UnitName  Type = "unit"
	Averaging Type = "converter"
	Reading   Type = "reading"
)

// Sign bounds a quantity.
type Sign string

// The bounds.
const (
	AnySign  Sign = ""
	Positive Sign = "above 0"
	NotBelow Sign = "at least 0"
)

// Form is what names of one sort look like.
type Form struct {
	// What it is called in errors, with an example.
	What string
	re   *regexp.Regexp
}

// The forms of names.
var (
	nameForm   = &Form{"a name of a-z, 0-9, '.', '_' and '-', such as disk-a", regexp.MustCompile(`^[a-z0-9][a-z0-9._-]*$`)}
	partForm   = &Form{"a part such as disk-40, or a specimen of a model such as prop-5x4/A", regexp.MustCompile(`^[a-z0-9][a-z0-9._-]*(/[A-Za-z0-9][A-Za-z0-9._-]*)?$`)}
	calForm    = &Form{"the date of a calibration such as 2026-03-02, or 2026-03-02.b for a second one on that day", regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}(\.[a-z0-9]+)?$`)}
	calOrNo    = &Form{"the date of a calibration such as 2026-03-02, or none", regexp.MustCompile(`^([0-9]{4}-[0-9]{2}-[0-9]{2}(\.[a-z0-9]+)?|none)$`)}
	methodForm = &Form{"the version of a method such as crosscheck/2", regexp.MustCompile(`^[a-z]+/[1-9][0-9]*$`)}
	pathForm   = &Form{"the path of a key of this file such as motor.pole_pairs", regexp.MustCompile(`^[a-z0-9][A-Za-z0-9._/-]*$`)}
	runForm    = &Form{"a run such as disk-a#3", regexp.MustCompile(`^[a-z0-9][a-z0-9._-]*#[1-9][0-9]{0,5}$`)}
)

// Key is one row of the table of keys.
type Key struct {
	Name string
	Type Type
	// Block holds the keys below, for Map, Named, List and OneOrList.
	Block string
	// Form of the name (Name, Names) or of the names mapped (Named, Reasons).
	Form *Form
	// Dims are the kinds of quantity allowed; more than one only for UnitName. None means any.
	Dims []quantity.Dimension
	Sign Sign
	// Uncertain is true where an uncertainty may stand with the quantity and is used.
	Uncertain bool
	// Low and High bound whole numbers and the length of lists and sequences; High 0: no bound.
	Low, High int
	Choices   []string
	Required  bool
	// Default as a user would write it, empty where absence means absence.
	Default string
	// Doc is one or two sentences for the person who writes the file.
	Doc string
}

// Block is a map with known keys.
type Block struct {
	Name string
	// Doc says what the block is; Place where it stands.
	Doc  string
	Keys []Key
	// Rest describes names that are not keys: the parts of a parts file.
	Rest *Key
	// OneOf lists groups of keys of which exactly one, or at most one, must be there.
	OneOf []Group
}

// Group is a set of keys that exclude each other.
type Group struct {
	Keys     []string
	Required bool
}

// dim is the one kind of quantity, Any where there is none.
func (k *Key) dim() quantity.Dimension {
	if len(k.Dims) == 1 {
		return k.Dims[0]
	}
	return quantity.Any
}

func (b *Block) key(name string) *Key {
	for i := range b.Keys {
		if b.Keys[i].Name == name {
			return &b.Keys[i]
		}
	}
	return nil
}

func (b *Block) names() []string {
	out := make([]string, len(b.Keys))
	for i, k := range b.Keys {
		out[i] = k.Name
	}
	return out
}

// block finds a block of the table; it panics on a name that the table does not have.
func block(name string) *Block {
	for i := range blocks {
		if blocks[i].Name == name {
			return &blocks[i]
		}
	}
	panic("job: no block " + name)
}
