package paper

import "time"

// A Document is what is printed.
type Document struct {
	Title string
	// Dated stands in the file as the time it was made, in place of a clock.
	Dated time.Time
	Pages []Page
}

// A Page is one part of a document that begins on a new sheet of paper.
type Page struct {
	// Name stands large at the upper left, Aside at the upper right.
	Name, Aside string
	// Under stands below them in one line.
	Under string
	// Stamp is printed in inverse across the head: the page is not for use.
	Stamp string
	// Across is a word printed large across the whole page, under what stands on it:
	// no part of it may be used by itself.
	Across string
	Rows   []Row
	// Foot stands at the lower edge.
	Foot []string
	// Flows says that the page may run on over several sheets. One that does not
	// is set smaller until it fits one, and is refused where it would be too small
	// to read.
	Flows bool
}

// A Row is cells side by side.
type Row []Cell

// A Cell is a titled part of a page.
type Cell struct {
	// Share is the part of the width it takes beside the others; 0 counts as 1.
	Share float64
	// Title stands over it, Note at the right end of the same line.
	Title, Note string
	Blocks      []Block
	// Long says that it may break over two sheets where its page flows.
	Long bool
}

// A Block is one thing in a cell: [Fields], [Figures], [Table], [Lines], [Plain]
// or [Drawing].
type Block interface{ block() }

// Fields are labels with their values, in columns.
type Fields struct {
	Columns int // 0 counts as 1
	List    []Field
}

// A Field is a label and its value with its unit.
type Field struct {
	Label, Value string
	// Hand says that the value is written in by hand: a line is left for it.
	Hand   bool
	Strong bool
}

// Figures are the numbers that a page exists for, large and side by side.
type Figures struct {
	List []Figure
	// Aloud says the same, and what belongs to it, as it is read out: the text has
	// it in place of the figures.
	Aloud []string
}

// A Figure is one of them.
type Figure struct {
	Label, Value, Unit string
	Share              float64 // of the width; 0 counts as 1
}

// A Table has a heading, and rows with a value for each column.
type Table struct {
	Columns []Column
	Rows    [][]string
	// Strong marks rows that are to be seen first, by their index.
	Strong map[int]bool
}

// A Column of a table.
type Column struct {
	Head  string
	Right bool    // numbers are set to the right
	Share float64 // of the width; 0 counts as 1
	Hand  bool    // written in by hand
	// Rank is the order in which columns give way in a text that is too narrow: the
	// highest first, 0 never.
	Rank int
	// Badges frame the words of this column that are to be seen first: Black
	// prints them in inverse, Open in a frame.
	Badges map[string]Fill
}

// Lines are labelled sentences.
type Lines []Line

// A Line is a label and what it says.
type Line struct {
	Label, Text string
	Strong      bool
}

// Plain is running text.
type Plain struct {
	Text   string
	Strong bool
}

// A Drawing is drawn to scale on paper and said in words in the text.
type Drawing struct {
	// Width and Height are in units of its own shapes: millimetres where the
	// drawing takes the whole width of a page.
	Width, Height float64
	Shapes        []Shape
	// Words say the same.
	Words []string
	// Alt says in a few words what is to be seen.
	Alt string
}

// A Shape is a line, a box, a polygon or a label of a drawing.
type Shape struct {
	Kind Kind
	// X, Y is where it begins, X2, Y2 where it ends, with y downwards.
	X, Y, X2, Y2 float64
	Points       [][2]float64 // of a polygon
	Weight       float64      // of its outline; 0 is none, a very thin one is grey
	Fill         Fill
	Dashed       bool
	Text         string
	Size         float64 // height of the letters
	Anchor       Anchor
	Strong       bool
	Inverse      bool // white letters
}

// A Kind of shape.
type Kind int

// Kinds.
const (
	Stroke Kind = iota
	Box
	Polygon
	Label
)

// Fill is how a shape is filled. Each tells itself from the others on a bad
// photocopy.
type Fill int

// Fills.
const (
	Open Fill = iota
	White
	Pale
	Middle
	Black
	Hatched
)

// Anchor is which end of a label its point is.
type Anchor int

// Anchors.
const (
	Start Anchor = iota
	Centre
	End
)

func (Fields) block()  {}
func (Figures) block() {}
func (Table) block()   {}
func (Lines) block()   {}
func (Plain) block()   {}
func (Drawing) block() {}

// Size is a size of paper.
type Size struct {
	Name          string
	Width, Height float64 // millimetres
}

// Sizes.
var (
	A4     = Size{"A4", 210, 297}
	Letter = Size{"Letter", 215.9, 279.4}
)

// faint is the weight of a line below which it only guides the eye.
const faint = 0.15

// none is printed for what is not there: blank never means zero.
const none = "-"

func share(s float64) float64 {
	if s <= 0 {
		return 1
	}
	return s
}

func orNone(text string) string {
	if text == "" {
		return none
	}
	return text
}
