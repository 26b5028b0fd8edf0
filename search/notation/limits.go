package notation

// Limits bound what a text may ask for. They hold before anything is written
// out, so that a short text cannot ask for much memory or time.
type Limits struct {
	Depth int // how deep groups may nest
	Turns int // how many turns a sequence may have once it is written out; no exponent may be larger either
	Bytes int // how long a text may be
}

// DefaultLimits are those of [Parse] and [Sequence.Expand].
var DefaultLimits = Limits{Depth: 64, Turns: 100_000, Bytes: 1 << 20}
