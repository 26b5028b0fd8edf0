package rounds

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"turnwright/search/puzzle"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/storage"
)

// Handed is what was handed in for one attempt, by those who are asked for.
type Handed struct {
	Puzzle   *puzzle.Puzzle
	Metric   puzzle.Metric
	Scramble string
	Entries  []HandedIn
	LeftOut  int // results that are longer than these
}

// HandedIn is one entry, as it was judged last.
type HandedIn struct {
	Name        string // the entry's
	Member      string // the author's id
	Solution    string
	Explanation string
}

// Handed reads what was handed in for an attempt of a round that has closed: the entries of
// members, or, where none are named, the shortest ones that are results. It refuses more than
// most of them. Before the round has closed it refuses all to everybody, the authors and
// organisers too. Its errors are for the caller of an RPC with fields round, attempt and members.
func (s *Service) Handed(ctx context.Context, name string, attempt int, members []string, most int) (Handed, error) {
	var out Handed
	id, err := roundID("round", name)
	if err != nil {
		return out, err
	}
	if len(members) > most {
		return out, fail.Field("members", "%d members: at most %d solutions are compared at once", len(members), most)
	}
	var authors []string
	for i, member := range members {
		author, err := access.MemberID(ctx, fmt.Sprintf("members[%d]", i), member)
		if err != nil {
			return out, err
		}
		authors = append(authors, author)
	}
	round, secret, err := s.closed(ctx, id)
	if err != nil {
		return out, err
	}
	if attempt < 1 || attempt > min(round.Attempts, len(secret.Scrambles)) {
		return out, explain(name, storage.ErrNoAttempt)
	}
	out.Scramble = secret.Scrambles[attempt-1]
	if out.Metric, err = puzzle.ParseMetric(round.Metric); err != nil {
		return out, err
	}
	if out.Puzzle, err = s.library.Build(round.Definition); err != nil {
		return out, err
	}
	var sheets []storage.Sheet
	for _, author := range authors {
		_, sheet, err := s.store.Entry(ctx, id, author, attempt, "", s.opt.Now())
		if err != nil {
			return out, s.explainEntry(ctx, id, entryName(id, author, attempt), err)
		}
		sheets = append(sheets, sheet)
	}
	if len(authors) == 0 {
		if sheets, out.LeftOut, err = s.shortest(ctx, id, attempt, most); err != nil {
			return out, err
		}
	}
	for _, sheet := range sheets {
		out.Entries = append(out.Entries, HandedIn{
			Name: entryName(id, sheet.Member, attempt), Member: sheet.Member,
			Solution: judged(sheet.Entry), Explanation: string(sheet.Entry.Explanation),
		})
	}
	return out, nil
}

// judged is the solution that the verdict is about: what was handed in, or what the last correction put in
// its place.
func judged(e *storage.Entry) string {
	if n := len(e.Corrections); n > 0 && e.Corrections[n-1].Solution != "" {
		return e.Corrections[n-1].Solution
	}
	return string(e.Solution)
}

// shortest gives the shortest results of an attempt, and how many there are besides. The
// round has closed.
func (s *Service) shortest(ctx context.Context, id string, attempt, most int) (best []storage.Sheet, leftOut int, err error) {
	const limit = 100
	for after := (storage.EntryPlace{}); ; {
		_, sheets, err := s.store.Entries(ctx, id, "", after, limit, s.opt.Now())
		if err != nil {
			return nil, 0, explain(roundName(id), err)
		}
		for _, sheet := range sheets {
			after = storage.EntryPlace{Member: sheet.Member, Attempt: sheet.Attempt}
			if sheet.Attempt == attempt && sheet.Entry.Verdict.Length > 0 {
				best = append(best, sheet)
			}
		}
		slices.SortStableFunc(best, func(a, b storage.Sheet) int {
			return cmp.Compare(a.Entry.Verdict.Length, b.Entry.Verdict.Length)
		})
		if len(best) > most {
			leftOut += len(best) - most
			best = best[:most]
		}
		if len(sheets) < limit {
			return best, leftOut, nil
		}
	}
}
