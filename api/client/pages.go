package client

import (
	"context"
	"iter"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	turnwrightv1 "turnwright/api/turnwright/v1"
)

// pageSize is what one call of a list asks for.
const pageSize = 200

// pages walks through a list page by page, no faster than the server wants. The first
// error ends the walk.
func pages[Request, Response, Item any](
	ctx context.Context,
	list func(context.Context, Request, ...grpc.CallOption) (Response, error),
	request func(token string) Request,
	page func(Response) ([]Item, string),
) iter.Seq2[Item, error] {
	return func(yield func(Item, error) bool) {
		for token := ""; ; {
			response, err := list(ctx, request(token))
			if delay := comeAgain(err); delay > 0 && sleep(ctx, delay) == nil {
				continue
			}
			if err != nil {
				var none Item
				yield(none, err)
				return
			}
			items, next := page(response)
			for _, item := range items {
				if !yield(item, nil) {
					return
				}
			}
			if next == "" {
				return
			}
			token = next
		}
	}
}

// AllPuzzles lists every puzzle by name. An error ends the list.
func (c *Client) AllPuzzles(ctx context.Context) iter.Seq2[*turnwrightv1.Puzzle, error] {
	return pages(ctx, c.Puzzles.ListPuzzles,
		func(token string) *turnwrightv1.ListPuzzlesRequest {
			return &turnwrightv1.ListPuzzlesRequest{PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListPuzzlesResponse) ([]*turnwrightv1.Puzzle, string) {
			return r.GetPuzzles(), r.GetNextPageToken()
		})
}

// AllSearches lists every search, the latest first. An error ends the list.
func (c *Client) AllSearches(ctx context.Context) iter.Seq2[*turnwrightv1.Search, error] {
	return c.SearchesOf(ctx, "")
}

// SearchesOf lists every search of one member, the latest first; members/me is the
// caller. An error ends the list.
func (c *Client) SearchesOf(ctx context.Context, member string) iter.Seq2[*turnwrightv1.Search, error] {
	return pages(ctx, c.Searches.ListSearches,
		func(token string) *turnwrightv1.ListSearchesRequest {
			return &turnwrightv1.ListSearchesRequest{Owner: member, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListSearchesResponse) ([]*turnwrightv1.Search, string) {
			return r.GetSearches(), r.GetNextPageToken()
		})
}

// AllFindings lists every finding of the search in rank order. An error ends
// the list.
func (c *Client) AllFindings(ctx context.Context, search string) iter.Seq2[*turnwrightv1.Finding, error] {
	return pages(ctx, c.Findings.ListFindings,
		func(token string) *turnwrightv1.ListFindingsRequest {
			return &turnwrightv1.ListFindingsRequest{Parent: search, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListFindingsResponse) ([]*turnwrightv1.Finding, string) {
			return r.GetFindings(), r.GetNextPageToken()
		})
}

// AllCoverageRows lists what is known of each class of the goal, by number. An
// error ends the list.
func (c *Client) AllCoverageRows(ctx context.Context, goal *turnwrightv1.CoverageGoal) iter.Seq2[*turnwrightv1.CoverageRow, error] {
	return pages(ctx, c.Coverage.ListCoverageRows,
		func(token string) *turnwrightv1.ListCoverageRowsRequest {
			return &turnwrightv1.ListCoverageRowsRequest{Goal: goal, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListCoverageRowsResponse) ([]*turnwrightv1.CoverageRow, string) {
			return r.GetRows(), r.GetNextPageToken()
		})
}

// AllJoinedFindings lists the findings of the search by what they cost between the
// moves before and after. An error ends the list.
func (c *Client) AllJoinedFindings(ctx context.Context, search, before, after string) iter.Seq2[*turnwrightv1.JoinedFinding, error] {
	return pages(ctx, c.Insertions.JoinFindings,
		func(token string) *turnwrightv1.JoinFindingsRequest {
			return &turnwrightv1.JoinFindingsRequest{Parent: search, Before: before, After: after, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.JoinFindingsResponse) ([]*turnwrightv1.JoinedFinding, string) {
			return r.GetFindings(), r.GetNextPageToken()
		})
}

// AllWorkers lists who does the units, the server's own slots first. An error ends
// the list.
func (c *Client) AllWorkers(ctx context.Context) iter.Seq2[*turnwrightv1.Worker, error] {
	return pages(ctx, c.Workers.ListWorkers,
		func(token string) *turnwrightv1.ListWorkersRequest {
			return &turnwrightv1.ListWorkersRequest{PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListWorkersResponse) ([]*turnwrightv1.Worker, string) {
			return r.GetWorkers(), r.GetNextPageToken()
		})
}

// AllMembers lists every member by name. An error ends the list.
func (c *Client) AllMembers(ctx context.Context) iter.Seq2[*turnwrightv1.Member, error] {
	return pages(ctx, c.Members.ListMembers,
		func(token string) *turnwrightv1.ListMembersRequest {
			return &turnwrightv1.ListMembersRequest{PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListMembersResponse) ([]*turnwrightv1.Member, string) {
			return r.GetMembers(), r.GetNextPageToken()
		})
}

// AllTokens lists every token of a member by name; members/me is the caller. An error
// ends the list.
func (c *Client) AllTokens(ctx context.Context, member string) iter.Seq2[*turnwrightv1.Token, error] {
	return pages(ctx, c.Members.ListTokens,
		func(token string) *turnwrightv1.ListTokensRequest {
			return &turnwrightv1.ListTokensRequest{Parent: member, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListTokensResponse) ([]*turnwrightv1.Token, string) {
			return r.GetTokens(), r.GetNextPageToken()
		})
}

// AllAuditEntries lists every administrative act on record, the latest first. An error
// ends the list.
func (c *Client) AllAuditEntries(ctx context.Context) iter.Seq2[*turnwrightv1.AuditEntry, error] {
	return pages(ctx, c.Members.ListAuditEntries,
		func(token string) *turnwrightv1.ListAuditEntriesRequest {
			return &turnwrightv1.ListAuditEntriesRequest{PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListAuditEntriesResponse) ([]*turnwrightv1.AuditEntry, string) {
			return r.GetEntries(), r.GetNextPageToken()
		})
}

// AllRounds lists every round, the latest first. An error ends the list.
func (c *Client) AllRounds(ctx context.Context) iter.Seq2[*turnwrightv1.Round, error] {
	return pages(ctx, c.Rounds.ListRounds,
		func(token string) *turnwrightv1.ListRoundsRequest {
			return &turnwrightv1.ListRoundsRequest{PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListRoundsResponse) ([]*turnwrightv1.Round, string) {
			return r.GetRounds(), r.GetNextPageToken()
		})
}

// AllEntries lists the entries of a round that the caller may see, by member and attempt. An
// error ends the list.
func (c *Client) AllEntries(ctx context.Context, round string) iter.Seq2[*turnwrightv1.Entry, error] {
	return pages(ctx, c.Rounds.ListEntries,
		func(token string) *turnwrightv1.ListEntriesRequest {
			return &turnwrightv1.ListEntriesRequest{Parent: round, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListEntriesResponse) ([]*turnwrightv1.Entry, string) {
			return r.GetEntries(), r.GetNextPageToken()
		})
}

// AllScrambleViews lists who saw which scramble of a round when, the earliest first: the
// caller's own, all of them for organisers. An error ends the list.
func (c *Client) AllScrambleViews(ctx context.Context, round string) iter.Seq2[*turnwrightv1.ScrambleView, error] {
	return pages(ctx, c.Rounds.ListScrambleViews,
		func(token string) *turnwrightv1.ListScrambleViewsRequest {
			return &turnwrightv1.ListScrambleViewsRequest{Parent: round, PageSize: pageSize, PageToken: token}
		},
		func(r *turnwrightv1.ListScrambleViewsResponse) ([]*turnwrightv1.ScrambleView, string) {
			return r.GetViews(), r.GetNextPageToken()
		})
}

// AllRecords lists the records that the request asks for, whatever page it names, the
// latest first. An error ends the list.
func (c *Client) AllRecords(ctx context.Context, of *turnwrightv1.ListRecordsRequest) iter.Seq2[*turnwrightv1.Record, error] {
	return pages(ctx, c.Rounds.ListRecords,
		func(token string) *turnwrightv1.ListRecordsRequest {
			asked := proto.CloneOf(of)
			asked.PageSize, asked.PageToken = pageSize, token
			return asked
		},
		func(r *turnwrightv1.ListRecordsResponse) ([]*turnwrightv1.Record, string) {
			return r.GetRecords(), r.GetNextPageToken()
		})
}

// Collect gathers a list. On an error it returns what came before it too.
func Collect[Item any](list iter.Seq2[Item, error]) ([]Item, error) {
	var items []Item
	for item, err := range list {
		if err != nil {
			return items, err
		}
		items = append(items, item)
	}
	return slices.Clip(items), nil
}
