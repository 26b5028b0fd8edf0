package rounds

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	v1 "turnwright/api/turnwright/v1"
	"turnwright/server/access"
	"turnwright/server/fail"
	"turnwright/server/page"
	"turnwright/server/read"
	"turnwright/storage"
)

// counted is what the entries of a closed round count for. It is kept in memory until an
// entry is corrected.
type counted struct {
	corrected int // how many corrections it takes in
	results   []result
}

// GetStandings gives the standings of a round that has closed.
func (s *Service) GetStandings(ctx context.Context, req *v1.GetStandingsRequest) (*v1.GetStandingsResponse, error) {
	id, err := roundID("round", req.GetRound())
	if err != nil {
		return nil, err
	}
	m, round, err := s.shown(ctx, id)
	if err != nil {
		return nil, err
	}
	if round.State != storage.RoundClosed {
		return nil, sealed(round)
	}
	history, err := s.history(ctx, func(r storage.Round) bool { return r.Puzzle == round.Puzzle && r.Metric == round.Metric })
	if err != nil {
		return nil, err
	}
	results, err := s.results(ctx, round)
	if err != nil {
		return nil, err
	}
	marks := map[string][]v1.RecordMark{}
	for _, record := range records(history) {
		if record.round.ID == id {
			marks[record.member] = append(marks[record.member], record.kind)
		}
	}
	out := &v1.GetStandingsResponse{Round: m}
	for _, row := range rank(round.Format, results) {
		standing := &v1.Standing{
			Place: int32(row.place), Member: memberName(row.member), Best: int32(row.best), MeanHundredths: int32(hundredths(row.sum)),
			Records: marks[row.member],
		}
		for n := 1; n <= round.Attempts; n++ {
			a := &v1.AttemptResult{}
			if length, there := row.lengths[n]; there {
				a.Length, a.Dnf, a.Entry = int32(length), length == 0, entryName(id, row.member, n)
			}
			standing.Attempts = append(standing.Attempts, a)
		}
		out.Standings = append(out.Standings, standing)
	}
	return out, nil
}

// results reads what the entries of a closed round count for, by member.
func (s *Service) results(ctx context.Context, round storage.Round) ([]result, error) {
	s.mu.Lock()
	have, ok := s.kept[round.Number]
	s.mu.Unlock()
	if ok && have.corrected == round.Corrected {
		return have.results, nil
	}
	made := counted{corrected: round.Corrected}
	const limit = 100
	for after := (storage.EntryPlace{}); ; {
		_, sheets, err := s.store.Entries(ctx, round.ID, "", after, limit, s.opt.Now())
		if err != nil {
			return nil, explain(roundName(round.ID), err)
		}
		for _, sheet := range sheets {
			n := len(made.results)
			if n == 0 || made.results[n-1].member != sheet.Member {
				made.results = append(made.results, result{member: sheet.Member, lengths: map[int]int{}})
				n++
			}
			made.results[n-1].lengths[sheet.Attempt] = sheet.Entry.Verdict.Length
			after = storage.EntryPlace{Member: sheet.Member, Attempt: sheet.Attempt}
		}
		if len(sheets) < limit {
			break
		}
	}
	s.mu.Lock()
	s.kept[round.Number] = made
	s.mu.Unlock()
	return made.results, nil
}

// history gives the closed rounds that are wanted with their results, the earliest first.
func (s *Service) history(ctx context.Context, wanted func(storage.Round) bool) ([]held, error) {
	var out []held
	const limit = 100
	for before := uint64(0); ; {
		page, err := s.store.Rounds(ctx, before, limit, s.opt.Now())
		if err != nil {
			return nil, err
		}
		for _, r := range page {
			before = r.Number
			if r.State != storage.RoundClosed || !wanted(r) {
				continue
			}
			results, err := s.results(ctx, r)
			if err != nil {
				return nil, err
			}
			out = append(out, held{r, results})
		}
		if len(page) < limit {
			break
		}
	}
	slices.SortFunc(out, func(a, b held) int {
		return cmp.Or(a.round.Closes.Compare(b.round.Closes), cmp.Compare(a.round.Number, b.round.Number))
	})
	return out, nil
}

// recordPlace is where a page of records ends.
type recordPlace struct {
	Round  uint64 `json:"round"`
	Member string `json:"member"`
	Kind   int32  `json:"kind"`
}

// ListRecords gives the records, the latest first.
func (s *Service) ListRecords(ctx context.Context, req *v1.ListRecordsRequest) (*v1.ListRecordsResponse, error) {
	wanted, query, err := s.wantedRecords(ctx, req)
	if err != nil {
		return nil, err
	}
	out := &v1.ListRecordsResponse{}
	return out, page.List(s.pages, req, query, &out.NextPageToken,
		func(after recordPlace, limit int) ([]record, error) {
			history, err := s.history(ctx, func(storage.Round) bool { return true })
			if err != nil {
				return nil, err
			}
			var page []record
			begun := after == recordPlace{}
			for _, r := range slices.Backward(records(history)) {
				if begun && wanted(r) {
					page = append(page, r)
				}
				begun = begun || r.place() == after
				if len(page) == limit {
					break
				}
			}
			return page, nil
		},
		func(r record) (proto.Message, recordPlace, error) {
			m := &v1.Record{
				Puzzle: "puzzles/" + r.round.Puzzle, Metric: read.MetricNamed(r.round.Metric), Kind: r.kind, Member: memberName(r.member),
				Round: roundName(r.round.ID), Hundredths: int32(r.hundredths), Time: timestamppb.New(r.round.Closes), Standing: r.standing,
			}
			out.Records = append(out.Records, m)
			return m, r.place(), nil
		})
}

// wantedRecords reads which records are asked for, and as a text that tells it from other
// questions.
func (s *Service) wantedRecords(ctx context.Context, req *v1.ListRecordsRequest) (func(record) bool, string, error) {
	name, metric, member := "", "", ""
	if req.GetPuzzle() != "" {
		p, err := s.library.Find(ctx, req.GetPuzzle())
		if err != nil {
			return nil, "", err
		}
		name = p.Name
	}
	if req.GetMetric() != v1.Metric_METRIC_UNSPECIFIED {
		m, err := read.Metric("metric", req.GetMetric())
		if err != nil {
			return nil, "", err
		}
		metric = m.String()
	}
	if req.GetMember() != "" {
		id, err := access.MemberID(ctx, "member", req.GetMember())
		if err != nil {
			return nil, "", fail.Field("member", "use members/NAME")
		}
		member = id
	}
	wanted := func(r record) bool {
		return (name == "" || r.round.Puzzle == name) && (metric == "" || r.round.Metric == metric) &&
			(member == "" || r.member == member) && (!req.GetStanding() || r.standing)
	}
	query := []string{"records", name, metric, member}
	if req.GetStanding() {
		query = append(query, "standing")
	}
	return wanted, strings.Join(query, " "), nil
}
