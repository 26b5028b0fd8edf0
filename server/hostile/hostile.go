// Package hostile makes requests that no honest client would send, to hold the
// server against them.
//
// The one idea: what a message can hold is known from its descriptor, so a maker needs
// to know no message of the API, and a new call is covered on the day it is added. A
// request is either all made up, or a valid one of which something was changed: the
// first kind is refused early, the second gets further in.
//
//	m := hostile.New(seed)
//	request := m.Message(method.Input())
//	request = m.Change(valid)
//
// The same seed makes the same requests.
package hostile

import (
	"bytes"
	"math"
	"math/rand/v2"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
)

// Maker makes requests.
type Maker struct {
	rnd  *rand.Rand
	room int // bytes that the request may still get, roughly
}

// New makes a maker.
func New(seed uint64) *Maker { return &Maker{rnd: rand.New(rand.NewPCG(seed, 1))} }

// Bounds of what is made. Requests stay below the mebibyte that the server takes, so
// that it has to look at them.
const (
	roomEach = 700 << 10 // bytes
	deepest  = 6         // messages within messages
)

// Message makes a request up.
func (m *Maker) Message(d protoreflect.MessageDescriptor) proto.Message {
	m.room = roomEach
	out := dynamicpb.NewMessage(d)
	m.fill(out, 0)
	return out
}

// Change gives a valid request with one thing in it changed, seldom more.
func (m *Maker) Change(valid proto.Message) proto.Message {
	m.room = roomEach
	out := proto.Clone(valid)
	for once := true; once || m.rnd.IntN(4) == 0; once = false {
		m.change(out.ProtoReflect(), 0)
	}
	return out
}

func (m *Maker) fill(msg protoreflect.Message, depth int) {
	fields := msg.Descriptor().Fields()
	for i := range fields.Len() {
		if m.rnd.IntN(3) > 0 {
			m.set(msg, fields.Get(i), depth)
		}
	}
	if m.rnd.IntN(8) == 0 && m.room > 0 {
		msg.SetUnknown(m.unknown())
	}
}

// change goes into messages that are set, down to a field of its own.
func (m *Maker) change(msg protoreflect.Message, depth int) {
	fields := msg.Descriptor().Fields()
	if fields.Len() == 0 || m.rnd.IntN(40) == 0 {
		msg.SetUnknown(m.unknown())
		return
	}
	field := fields.Get(m.rnd.IntN(fields.Len()))
	if msg.Has(field) && m.rnd.IntN(4) > 0 {
		switch {
		case field.Message() != nil && field.IsList():
			list := msg.Mutable(field).List()
			m.change(list.Get(m.rnd.IntN(list.Len())).Message(), depth+1)
			return
		case field.Message() != nil:
			m.change(msg.Mutable(field).Message(), depth+1)
			return
		}
	}
	if msg.Has(field) && m.rnd.IntN(5) == 0 {
		msg.Clear(field)
		return
	}
	m.set(msg, field, depth)
}

func (m *Maker) set(msg protoreflect.Message, field protoreflect.FieldDescriptor, depth int) {
	if field.Message() != nil && depth >= deepest {
		return
	}
	switch {
	case field.IsMap(): // the API has none
	case field.IsList():
		list := msg.NewField(field).List()
		for range m.many() {
			if m.room <= 0 {
				break
			}
			list.Append(m.value(field, list.NewElement, depth))
		}
		msg.Set(field, protoreflect.ValueOfList(list))
	default:
		msg.Set(field, m.value(field, func() protoreflect.Value { return msg.NewField(field) }, depth))
	}
}

// many is how long a list is.
func (m *Maker) many() int { return pick(m, 0, 1, 1, 2, 3, 10, 101, 501, 5000, 100_000) }

func (m *Maker) value(field protoreflect.FieldDescriptor, empty func() protoreflect.Value, depth int) protoreflect.Value {
	m.room -= 16
	switch field.Kind() {
	case protoreflect.MessageKind, protoreflect.GroupKind:
		v := empty()
		m.fill(v.Message(), depth+1)
		return v
	case protoreflect.StringKind:
		s := m.text()
		if m.room < len(s) {
			s = ""
		}
		m.room -= len(s)
		return protoreflect.ValueOfString(s)
	case protoreflect.BytesKind:
		b := m.bytes()
		m.room -= len(b)
		return protoreflect.ValueOfBytes(b)
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(m.rnd.IntN(2) == 0)
	case protoreflect.EnumKind:
		known := field.Enum().Values()
		return protoreflect.ValueOfEnum(pick(m,
			known.Get(m.rnd.IntN(known.Len())).Number(), protoreflect.EnumNumber(known.Len()), -1, 999, math.MaxInt32, math.MinInt32))
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(int32(m.number(math.MinInt32, math.MaxInt32)))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(m.number(math.MinInt64, math.MaxInt64))
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(uint32(m.number(math.MinInt32, math.MaxInt32)))
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(uint64(m.number(math.MinInt64, math.MaxInt64)))
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(float32(m.fraction()))
	default:
		return protoreflect.ValueOfFloat64(m.fraction())
	}
}

// number is a number at a border, or any.
func (m *Maker) number(least, most int64) int64 {
	return pick(m, 0, 1, 2, 3, 5, 9, 40, -1, -2, 100, 1001, 65536, 65537, math.MaxInt32, least, least+1, most, most-1,
		m.rnd.Int64N(20), least+int64(m.rnd.Uint64()%uint64(most)))
}

func (m *Maker) fraction() float64 {
	return pick(m, 0, 1, -1, 45, math.Copysign(0, -1), math.NaN(), math.Inf(1), math.Inf(-1), math.MaxFloat64,
		-math.MaxFloat64, math.SmallestNonzeroFloat64, 1e15, m.rnd.NormFloat64()*100)
}

// bytes are any bytes.
func (m *Maker) bytes() []byte {
	out := make([]byte, pick(m, 0, 1, 7, 300, 70_000))
	for i := range out {
		out[i] = byte(m.rnd.Uint32())
	}
	return out
}

// Texts are what fields of text are set to: names, sequences and such that are valid
// somewhere, and what was meant to do harm.
var Texts = append([]string{
	"", " ", "x", "0", "-1", "1e999", "null", "true", "\x00", "a\x00b", "\n", "\r\n\r\n", "..", "../../../etc/passwd", "/", "%00", "%s%n%d", "{}", "[[",
	"' OR 1=1 --", "<script>", "\u202e", "é", "e\u0301", "\U0010FFFF", "\uFFFD", "𝕏", "\ufeff",
	"puzzles/3x3x3", "puzzles/2x2x2", "puzzles/skewb", "puzzles/megaminx", "puzzles/7x7x7", "puzzles/", "puzzles/nothing", "puzzles/puzzles/3x3x3", "3x3x3",
	"searches/edges", "searches/night", "searches/", "searches/nothing", "searches/-", "searches/a/findings/c1", "searches/../edges", "searches/EDGES",
	"members/me", "members/local", "members/-", "members/anna", "members/anna/tokens/x", "workers/server", "workers/mill", "workers/", "anna", "mill",
	"corner", "edge", "centre", "triangle", "petal", "UF", "UFR", "URF", "UR", "U", "R", "a", "b1", "a,b", "3", "2+2", "1~+1~", "<=4", "<=999999999", "5~", "+", "~",
	"R U R' U'", "[R U R', D]", "[R: [U, F]]", "(R U)^105", "R'", "R^-2", "2.R", "1-2.R", "all.U", "99999999999.R", "R^99999999999", "R //", "// only this",
	"name: x\nsolid: cube\naxes: [{at: faces, cuts: ['1/3']}]\n", "name: x\nsolid: cube\naxes: [{at: faces, cuts: ['1e-300']}]\n",
	"&a [*a, *a]", "{name: x, solid: cube, axes: [{at: faces, cuts: [.nan, .inf]}]}",
	"AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA", "eyJyIjp7fX0", "request-1", "under_score",
}, Sequences...)

// Sequences are sequences that ask for more than anybody should.
var Sequences = []string{
	"((((R)^999)^999)^999)",
	"((((R U)^9999)^9999)^9999)^9999",
	"(R)^100000", "(R)^100001", "(R)^-100000", "(R)^-9223372036854775808", "(R)^99999999999999999999",
	"((R)^0)^100000",
	"[(R U F)^100, (R U F)^33000]",
	strings.Repeat("(", 10_000) + "R" + strings.Repeat(")", 10_000),
	strings.Repeat("[", 10_000) + "R" + strings.Repeat(", U]", 10_000),
	strings.Repeat("[R: ", 60) + "U" + strings.Repeat("]", 60),
	strings.Repeat("[R, ", 60) + "U" + strings.Repeat("]", 60),
	strings.Repeat("(", 100_000),
	strings.Repeat(")", 100_000),
	strings.Repeat("R ", 100_000),
	strings.Repeat("R U ", 100_000),
	strings.Repeat("R", 100_000),
	strings.Repeat("x", 300_000),
	strings.Repeat("\x01", 200_000),
	strings.Repeat("é", 100_000),
	strings.Repeat("//", 100_000),
	strings.Repeat("\n", 100_000) + "R^",
	strings.Repeat("R U' F2 L ", 15),
	strings.Repeat("R U' F2 L ", 100),
	strings.Repeat("a b1 c2' ", 3000),
}

func (m *Maker) text() string {
	if m.rnd.IntN(6) == 0 { // a small change can do more than a large one
		return m.bend(Texts[m.rnd.IntN(len(Texts))])
	}
	s := Texts[m.rnd.IntN(len(Texts))]
	if len(s) > 1000 && m.rnd.IntN(4) > 0 { // large ones are slow
		s = Texts[m.rnd.IntN(len(Texts)-len(Sequences))]
	}
	return s
}

// bend changes a letter of a text, or cuts or doubles it.
func (m *Maker) bend(s string) string {
	letters := []rune(s)
	if len(letters) == 0 || len(letters) > 1000 {
		return s
	}
	at := m.rnd.IntN(len(letters))
	switch m.rnd.IntN(3) {
	case 0:
		letters[at] = pick(m, '(', ')', '[', ']', ',', ':', '^', '\'', '-', '.', '0', '9', ' ', '/', 'é', 0, rune(32+m.rnd.IntN(95)))
		return string(letters)
	case 1:
		return string(letters[:at])
	}
	return string(letters) + string(letters[at:])
}

// unknown is field 2000, which no message has: a number, or groups nested deep.
func (m *Maker) unknown() []byte {
	depth := pick(m, 0, 0, 0, 1, 1, 100, 9000)
	if depth == 0 {
		return []byte{0x80, 0x7d, 0x05} // the number 5
	}
	out := groups(depth)
	m.room -= len(out)
	return out
}

// groups are groups within groups, all of them field 2000.
func groups(depth int) []byte {
	return append(bytes.Repeat([]byte{0x83, 0x7d}, depth), bytes.Repeat([]byte{0x84, 0x7d}, depth)...)
}

func pick[T any](m *Maker, of ...T) T { return of[m.rnd.IntN(len(of))] }
