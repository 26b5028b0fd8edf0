package searches

import (
	"fmt"
	"strconv"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/deepen"
	"turnwright/search/isolate"
	"turnwright/server/engine"
	"turnwright/server/fail"
	"turnwright/storage"
)

// planStructured checks what is particular to a structure, and plans the search.
func (s *Service) planStructured(spec storage.Spec, q deepen.Question, m *v1.Search) (storage.Spec, *v1.Estimate, error) {
	switch {
	case len(m.GetGoal().GetPins()) > 0:
		return spec, nil, fail.Field("search.goal.pins", "don't go with a structure: leave them out, and fit what is found to the places")
	case m.GetGoal().GetCore() != v1.Core_CORE_UNSPECIFIED:
		return spec, nil, fail.Field("search.goal.core", "does not go with a structure, whose sequences all count: leave it out")
	case m.GetSequencesPerClass() > 1:
		return spec, nil, fail.Field("search.sequences_per_class", "%d: a structure gives one for each class", m.GetSequencesPerClass())
	case m.GetSlack() > 0:
		return spec, nil, fail.Field("search.slack", "%d: does not go with a structure, which gives one sequence for each class", m.GetSlack())
	}
	structure := &storage.Structure{}
	for _, part := range []struct {
		field  string
		length int32
		least  int32
		to     *int
	}{
		{"first_length", m.GetStructure().GetFirstLength(), 1, &structure.X},
		{"second_length", m.GetStructure().GetSecondLength(), 1, &structure.Y},
		{"third_length", m.GetStructure().GetThirdLength(), 0, &structure.Z},
		{"setup_length", m.GetStructure().GetSetupLength(), 0, &structure.Setup},
	} {
		if part.length < part.least || part.length > isolate.MaxPart {
			return spec, nil, fail.Field("search.structure."+part.field, "%d: use %d to %d", part.length, part.least, isolate.MaxPart)
		}
		*part.to = int(part.length)
	}
	if spec.Max == 0 {
		spec.Max = isolate.Job{X: structure.X, Y: structure.Y, Z: structure.Z, Setup: structure.Setup}.Longest()
	}
	if deepen.HidesCore(q.Puzzle, q.Goal) {
		spec.Core = engine.CoreFree
	}
	spec.Structure = structure
	plan, err := engine.Structured(s.library, spec)
	switch {
	case err != nil:
		return spec, nil, fail.Refused(v1.ErrorReason_ERROR_REASON_FIELD_INVALID, "search.structure", err)
	case plan.Total() > isolate.MaxTotal:
		return spec, nil, fail.Field("search.structure", "there are %s pairs of such parts, and at most %d are tried: ask for shorter parts", pairs(plan.Total()), uint64(isolate.MaxTotal))
	case plan.ShortBytes() > spec.Memory:
		return spec, nil, fail.With(codes.ResourceExhausted, v1.ErrorReason_ERROR_REASON_MEMORY_LIMIT,
			fmt.Sprintf("the short parts take %d bytes, and %d may be used: ask for shorter ones, or for more memory", plan.ShortBytes(), spec.Memory),
			"needed", strconv.FormatInt(plan.ShortBytes(), 10), "allowed", strconv.FormatInt(spec.Memory, 10))
	}
	classes, cycles := plan.Answers()
	spec.Classes, spec.Cycles = classes, int64(cycles)
	spec.Work = storage.Work{Leaves: plan.Total(), Tables: plan.ShortBytes()}
	return spec, &v1.Estimate{Units: int64(len(plan.Units())), Pairs: plan.Total(), TableBytes: plan.ShortBytes()}, nil
}

// pairs is a number that may have been too great to count.
func pairs(n uint64) string {
	if n == ^uint64(0) {
		return fmt.Sprintf("more than %d", n)
	}
	return strconv.FormatUint(n, 10)
}

// structureMessage is which sequences are tried, if not all.
func structureMessage(s *storage.Structure) *v1.Structure {
	if s == nil {
		return nil
	}
	return &v1.Structure{FirstLength: int32(s.X), SecondLength: int32(s.Y), ThirdLength: int32(s.Z), SetupLength: int32(s.Setup)}
}
