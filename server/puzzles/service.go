package puzzles

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/search/puzzle"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/storage"
)

// Service answers turnwright.v1.PuzzleService.
type Service struct {
	v1.UnimplementedPuzzleServiceServer
	library *Library
	pages   *page.Tokens
}

// NewService makes the service.
func NewService(l *Library, pages *page.Tokens) *Service { return &Service{library: l, pages: pages} }

// maxPage is how many puzzles one call builds at most.
const maxPage = 100

// ListPuzzles gives all puzzles by name.
func (s *Service) ListPuzzles(ctx context.Context, req *v1.ListPuzzlesRequest) (*v1.ListPuzzlesResponse, error) {
	size, err := page.Size(req.GetPageSize())
	if err != nil {
		return nil, err
	}
	var after string
	if err := s.pages.Open(req.GetPageToken(), "puzzles", &after); err != nil {
		return nil, err
	}
	size = min(size, maxPage)
	all, err := s.library.all(ctx)
	if err != nil {
		return nil, err
	}
	from, found := slices.BinarySearchFunc(all, after, func(e entry, name string) int { return strings.Compare(e.name, name) })
	if found {
		from++
	}
	out := &v1.ListPuzzlesResponse{}
	for _, e := range all[from:min(from+size, len(all))] {
		p, err := s.library.Find(ctx, "puzzles/"+e.name)
		if err != nil {
			return nil, err
		}
		out.Puzzles = append(out.Puzzles, Message(p, e.builtin, false))
	}
	if from+size < len(all) {
		out.NextPageToken = s.pages.Seal("puzzles", all[from+size-1].name)
	}
	return out, nil
}

type entry struct {
	name    string
	builtin bool
}

// all lists the names of all puzzles, ascending. There are few.
func (l *Library) all(ctx context.Context) ([]entry, error) {
	var out []entry
	for _, d := range puzzle.Builtin() {
		out = append(out, entry{d.Name, true})
	}
	for after := ""; ; {
		more, err := l.store.Puzzles(ctx, after, 100)
		if err != nil {
			return nil, err
		}
		for _, p := range more {
			out = append(out, entry{p.Name, false})
			after = p.Name
		}
		if len(more) < 100 {
			break
		}
	}
	slices.SortFunc(out, func(a, b entry) int { return strings.Compare(a.name, b.name) })
	return out, nil
}

// GetPuzzle gives one puzzle in full.
func (s *Service) GetPuzzle(ctx context.Context, req *v1.GetPuzzleRequest) (*v1.GetPuzzleResponse, error) {
	p, err := s.library.Find(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	_, builtin := builtinName(p.Name)
	return &v1.GetPuzzleResponse{Puzzle: Message(p, builtin, true)}, nil
}

// DefinePuzzle builds and keeps a puzzle.
func (s *Service) DefinePuzzle(ctx context.Context, req *v1.DefinePuzzleRequest) (*v1.DefinePuzzleResponse, error) {
	r, err := page.Request(ctx, req.GetRequestId(), "DefinePuzzle", req.GetDefinition())
	if err != nil {
		return nil, err
	}
	p, err := s.library.define(ctx, r, req.GetDefinition())
	if err != nil {
		return nil, err
	}
	_, builtin := builtinName(p.Name)
	return &v1.DefinePuzzleResponse{Puzzle: Message(p, builtin, true)}, nil
}

func exists(name string) error {
	return fail.With(codes.AlreadyExists, v1.ErrorReason_ERROR_REASON_PUZZLE_EXISTS,
		fmt.Sprintf("another puzzle is called %q, or this one was defined otherwise before: what is kept stays, "+
			"as searches rest on it; choose another name or alias", name), "name", name)
}

var _ Store = (*storage.Store)(nil)

// Message writes a puzzle as the API has it, with labels and definition if in full.
func Message(p *puzzle.Puzzle, builtin, full bool) *v1.Puzzle {
	out := &v1.Puzzle{
		Name: "puzzles/" + p.Name, Aliases: p.Aliases, Title: p.Title, Solid: p.Def.Solid,
		Faces: p.Faces, StickerCount: int32(len(p.Stickers)),
		SymmetryCount: int32(len(p.Symmetries)), RotationCount: int32(p.Rotations), Builtin: builtin,
	}
	for _, t := range p.Types {
		m := &v1.PieceType{
			Name: t.Name, Pieces: int32(len(t.Pieces)), Slots: int32(len(t.Slots)),
			Orientations: int32(t.Orientations), StickersPerPiece: int32(len(t.Slots[0])),
		}
		if full {
			m.SlotLabels = t.Labels
		}
		out.PieceTypes = append(out.PieceTypes, m)
	}
	for _, a := range p.Axes {
		line := p.Lines[a.Line]
		m := &v1.Axis{Name: a.Name, Steps: int32(line.Steps), Layers: int32(line.Layers), ReferenceLayer: int32(line.Reference + 1)}
		if a.Far {
			m.ReferenceLayer = int32(line.Layers - line.Reference)
		}
		if a.Opposite >= 0 {
			m.Opposite = p.Axes[a.Opposite].Name
		}
		out.Axes = append(out.Axes, m)
	}
	if full {
		out.Definition = p.Def.YAML()
	}
	return out
}
