// Package effects serves what sequences do.
package effects

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"strconv"
	"strings"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/effect"
	"turnwright/search/goal"
	"turnwright/search/notation"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/server/puzzles"
)

// Service answers turnwright.v1.EffectService.
type Service struct {
	v1.UnimplementedEffectServiceServer
	library *puzzles.Library
}

// NewService makes the service.
func NewService(l *puzzles.Library) *Service { return &Service{library: l} }

// DescribeSequence tells what a sequence does to each type of piece.
func (s *Service) DescribeSequence(ctx context.Context, req *v1.DescribeSequenceRequest) (*v1.DescribeSequenceResponse, error) {
	p, err := s.library.Find(ctx, req.GetPuzzle())
	if err != nil {
		return nil, err
	}
	turns, err := notation.ParseTurns(p, req.GetSequence())
	if err != nil {
		return nil, Refusal("sequence", err)
	}
	e := effect.Describe(p, turns)
	out := &v1.Effect{
		Sequence: notation.Print(p, turns), Lengths: Lengths(e.Lengths),
		Order: e.Order.String(), Repeats: e.Repeats.String(), Rotation: e.Rotation,
	}
	for _, t := range e.Types {
		out.Types = append(out.Types, typeMessage(t))
	}
	return &v1.DescribeSequenceResponse{Effect: out}, nil
}

// Refusal says why a sequence can't be read, and where.
func Refusal(field string, err error) error {
	var at *notation.Error
	if !errors.As(err, &at) {
		return fail.Refused(v1.ErrorReason_ERROR_REASON_SEQUENCE_REFUSED, field, err)
	}
	return fail.Refused(v1.ErrorReason_ERROR_REASON_SEQUENCE_REFUSED, field, err,
		"line", strconv.Itoa(at.Line), "column", strconv.Itoa(at.Column))
}

// Lengths writes lengths as the API has them.
func Lengths(l effect.Lengths) *v1.Lengths {
	return &v1.Lengths{Obtm: int32(l.OBTM), Stm: int32(l.STM), Qtm: int32(l.QTM), Etm: int32(l.ETM)}
}

func typeMessage(t effect.TypeEffect) *v1.TypeEffect {
	out := &v1.TypeEffect{Type: t.Type, Moved: int32(t.Moved)}
	order := big.NewInt(1)
	for _, cycles := range [][]effect.Cycle{t.Cycles, t.Twisted} {
		for _, c := range cycles {
			m := CycleMessage(c)
			out.Cycles = append(out.Cycles, m)
			order = lcm(order, big.NewInt(int64(m.GetLength())*int64(m.GetTwist())))
		}
	}
	out.Order = order.String()
	return out
}

// CycleMessage writes a cycle as the API has it.
func CycleMessage(c effect.Cycle) *v1.Cycle {
	out := &v1.Cycle{Length: int32(c.Length), Labels: c.Labels, Twist: 1, Text: "(" + strings.Join(c.Labels, " ") + ")"}
	for _, s := range c.Slots {
		out.Slots = append(out.Slots, int32(s))
	}
	if c.Twist != nil {
		out.Twist, out.TwistLabel = int32(c.Twist.Order), c.Twist.Label
		out.Text += fmt.Sprintf(" twisted, → %s", c.Twist.Label)
	}
	return out
}

// ChangeMessages writes what is done to one type as the API has it, cycle by cycle.
func ChangeMessages(t *puzzle.Type, c goal.Change) []*v1.Cycle {
	var out []*v1.Cycle
	for _, slots := range c.Cycles(t) {
		cycle := effect.Cycle{Length: len(slots), Slots: slots}
		for _, s := range slots {
			cycle.Labels = append(cycle.Labels, t.Labels[s])
		}
		if round := c.After(t, slots[len(slots)-1]); round != slots[0] {
			cycle.Twist = &effect.Twist{Order: 1, Slot: round, Label: t.Labels[round]}
			for s := round; s != slots[0]; cycle.Twist.Order++ {
				for range slots {
					s = c.After(t, s)
				}
			}
		}
		out = append(out, CycleMessage(cycle))
	}
	return out
}

func lcm(a, b *big.Int) *big.Int {
	gcd := new(big.Int).GCD(nil, nil, a, b)
	return new(big.Int).Mul(a, new(big.Int).Div(b, gcd))
}
