package dataset

import "iter"

// Kind is what a column holds.
type Kind int

// The kinds of columns.
const (
	Number  Kind = iota // a float64; NaN: the cycle has none
	Whole               // an integer
	Flag                // true or false
	Samples             // the samples of a channel, one list a cycle
)

// Column is one column of a dataset. Units are in its name.
type Column struct {
	Name  string // such as lpp_deg_atdc
	Unit  string // such as deg; "" for none
	About string // one line
	Kind  Kind
	Count int // for Samples: of every cycle; 0: it differs from cycle to cycle
}

// Row is one cycle. Its slices belong to whoever yields it and are used again.
type Row struct {
	Labels   []float64   // in the order of the columns that are not Samples; a Flag is 0 or 1
	Channels [][]float32 // in the order of the columns that are
}

// Source makes the rows of a dataset.
type Source interface {
	// Columns lists labels first, then channels.
	Columns() []Column
	// Rows yields the cycles from first up to but without last. Whatever asks, in
	// whatever order, a cycle of the same part comes out the same: first is always
	// the first cycle of a part.
	Rows(first, last int) iter.Seq2[*Row, error]
}
