package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"turnwright/api/client"
	turnwrightv1 "turnwright/api/turnwright/v1"
)

func (a *app) memberCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "member",
		Short: "See to who may use a server",
		Long: `See to who may use a server: members ask for searches and change their own, organisers
change everything, workers are machines that work for the server. Only organisers may do
this. With --data it is done in a directory that no server uses at the moment.`,
	}
	cmd.AddCommand(a.memberAddCommand(), a.memberListCommand(), a.memberRemoveCommand())
	return cmd
}

func (a *app) memberAddCommand() *cobra.Command {
	var e either
	var role string
	expires := newDate()
	cmd := &cobra.Command{
		Use:   "add NAME",
		Short: "Take a new member, and print its first token",
		Long: `Take a new member, and print its first token. It is not shown again: give it to the
member in a safe way. The name is not given to another later, as the member's searches
keep it.`,
		Example: `  turnwright member add anna
  turnwright member add olga --role organiser --data /var/lib/turnwright`,
		Args: cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				reply, err := c.Members.CreateMember(ctx, &turnwrightv1.CreateMemberRequest{
					Member: &turnwrightv1.Member{Role: roleOf(role)}, MemberId: client.ID(args[0]), RequestId: client.NewRequestID(),
				})
				if err != nil {
					return err
				}
				return a.addToken(ctx, c, reply.GetMember().GetName(), expires)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().Var(newChoice(&role, "member", "organiser", "worker"), "role", "what it may do")
	registerExpires(cmd, expires)
	return cmd
}

func (a *app) memberListCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "list",
		Short: "List the members",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				members, err := client.Collect(c.AllMembers(ctx))
				if err != nil {
					return err
				}
				return printList(a, "member", members, memberJSON, membersText)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func memberJSON(m *turnwrightv1.Member) memberForm {
	return memberForm{m.GetName(), roleText(m.GetRole()), timeText(m.GetCreateTime())}
}

func membersText(members []*turnwrightv1.Member) string {
	var rows [][]any
	for _, m := range members {
		form := memberJSON(m)
		rows = append(rows, []any{client.ID(form.Member), form.Role, form.Created})
	}
	return columns([]string{"member", "role", "since"}, rows)
}

func (a *app) memberRemoveCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "remove NAME",
		Short: "Remove a member and its tokens; its searches stay",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name := client.MemberName(args[0])
				_, err := c.Members.DeleteMember(ctx, &turnwrightv1.DeleteMemberRequest{Name: name, RequestId: client.NewRequestID()})
				return a.printGone("member", name, err)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func (a *app) tokenCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "token",
		Short: "See to the tokens of members",
		Long: `See to the tokens that members prove themselves with. Organisers see to all of them;
everybody may list and revoke their own. With --data it is done in a directory that no
server uses at the moment.`,
	}
	cmd.AddCommand(a.tokenAddCommand(), a.tokenListCommand(), a.tokenRevokeCommand())
	return cmd
}

func (a *app) tokenAddCommand() *cobra.Command {
	var e either
	expires := newDate()
	cmd := &cobra.Command{
		Use:   "add MEMBER",
		Short: "Make another token for a member, and print it",
		Args:  cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				return a.addToken(ctx, c, client.MemberName(args[0]), expires)
			})
		}),
	}
	e.registerRemote(cmd)
	registerExpires(cmd, expires)
	return cmd
}

// addToken makes a token and prints it this once.
func (a *app) addToken(ctx context.Context, c *client.Client, member string, expires *date) error {
	reply, err := c.Members.CreateToken(ctx, &turnwrightv1.CreateTokenRequest{
		Parent: member, Token: &turnwrightv1.Token{ExpireTime: expires.stamp()}, RequestId: client.NewRequestID(),
	})
	if err != nil {
		return err
	}
	token := reply.GetToken()
	if reply.GetSecret() == "" {
		return fmt.Errorf("the answer with the token was lost on its way: revoke %s, and make another", token.GetName())
	}
	if a.output == "json" {
		form := tokenJSON(token)
		form.Secret = reply.GetSecret()
		return a.printJSON("token", form)
	}
	a.note("%s, until %s; it is not shown again:", token.GetName(), token.GetExpireTime().AsTime().Format(time.DateOnly))
	return a.printText(reply.GetSecret() + "\n")
}

func (a *app) tokenListCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:   "list [MEMBER]",
		Short: "List the tokens of a member, or one's own",
		Args:  cobra.MaximumNArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				member := "me"
				if len(args) > 0 {
					member = args[0]
				}
				tokens, err := client.Collect(c.AllTokens(ctx, client.MemberName(member)))
				if err != nil {
					return err
				}
				return printList(a, "token", tokens, tokenJSON, tokensText)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func tokensText(tokens []*turnwrightv1.Token) string {
	var rows [][]any
	for _, t := range tokens {
		form := tokenJSON(t)
		used := form.Used
		if used == "" {
			used = "never"
		}
		rows = append(rows, []any{strings.TrimPrefix(form.Token, "members/"), form.Created, form.Expires, used})
	}
	return columns([]string{"token", "made", "expires", "last used"}, rows)
}

func (a *app) tokenRevokeCommand() *cobra.Command {
	var e either
	cmd := &cobra.Command{
		Use:     "revoke TOKEN",
		Short:   "Make a token worthless",
		Long:    "Make a token worthless. It is named as token list does, such as anna/tokens/k3x9.",
		Example: "  turnwright token revoke anna/tokens/k3x9",
		Args:    cobra.ExactArgs(1),
		RunE: a.verb(func(ctx context.Context, args []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				name := client.MemberName(args[0])
				_, err := c.Members.RevokeToken(ctx, &turnwrightv1.RevokeTokenRequest{Name: name, RequestId: client.NewRequestID()})
				return a.printGone("token", name, err)
			})
		}),
	}
	e.registerRemote(cmd)
	return cmd
}

func (a *app) whoamiCommand() *cobra.Command {
	var r remote
	cmd := &cobra.Command{
		Use:   "whoami",
		Short: "Tell as whom the server knows you",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return r.with(func(c *client.Client) error {
				me, err := c.Members.GetCaller(ctx, &turnwrightv1.GetCallerRequest{})
				if err != nil {
					return err
				}
				form := callerForm{me.GetMember(), roleText(me.GetRole()), me.GetToken(), timeText(me.GetExpireTime())}
				if a.output == "json" {
					return a.printJSON("caller", form)
				}
				text := fmt.Sprintf("%s, %s", form.Member, form.Role)
				if form.Token != "" {
					text += fmt.Sprintf(", by %s until %s", form.Token, form.Expires)
				}
				return a.printText(text + "\n")
			})
		}),
	}
	r.register(cmd)
	return cmd
}

func (a *app) auditCommand() *cobra.Command {
	var e either
	var limit int
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "List what organisers did, the latest first",
		Args:  cobra.NoArgs,
		RunE: a.verb(func(ctx context.Context, _ []string) error {
			return a.withServer(ctx, e, func(c *client.Client) error {
				var entries []*turnwrightv1.AuditEntry
				for entry, err := range c.AllAuditEntries(ctx) {
					if err != nil {
						return err
					}
					if limit > 0 && len(entries) == limit {
						break
					}
					entries = append(entries, entry)
				}
				return printList(a, "act", entries, auditJSON, auditText)
			})
		}),
	}
	e.registerRemote(cmd)
	cmd.Flags().IntVar(&limit, "limit", 50, "at most so `many`; all where 0")
	return cmd
}

func auditJSON(e *turnwrightv1.AuditEntry) auditForm {
	return auditForm{timeText(e.GetTime()), e.GetMember(), e.GetAct(), e.GetTarget(), e.GetDetails()}
}

func auditText(entries []*turnwrightv1.AuditEntry) string {
	var rows [][]any
	for _, e := range entries {
		form := auditJSON(e)
		rows = append(rows, []any{form.Time, client.ID(form.Member), form.Act, form.Target, form.Details})
	}
	return columns([]string{"time", "who", "act", "on", "details"}, rows)
}

type memberForm struct {
	Member  string `json:"member"`
	Role    string `json:"role"`
	Created string `json:"created"` // RFC 3339, like all times here
}

type tokenForm struct {
	Token   string `json:"token"`
	Created string `json:"created"`
	Expires string `json:"expires"`
	Used    string `json:"used"`             // last; empty for never
	Secret  string `json:"secret,omitempty"` // only where it was just made
}

type callerForm struct {
	Member  string `json:"member"`
	Role    string `json:"role"`
	Token   string `json:"token,omitempty"`
	Expires string `json:"expires,omitempty"`
}

type auditForm struct {
	Time    string `json:"time"`
	Member  string `json:"member"`
	Act     string `json:"act"`
	Target  string `json:"target"`
	Details string `json:"details"`
}

func tokenJSON(t *turnwrightv1.Token) tokenForm {
	return tokenForm{
		Token: t.GetName(), Created: timeText(t.GetCreateTime()), Expires: timeText(t.GetExpireTime()), Used: timeText(t.GetLastUseTime()),
	}
}

func roleOf(word string) turnwrightv1.Role {
	return turnwrightv1.Role(turnwrightv1.Role_value["ROLE_"+strings.ToUpper(word)])
}

func roleText(r turnwrightv1.Role) string {
	return strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))
}

// printGone tells programs that something was removed; people see that there is no
// error.
func (a *app) printGone(kind, name string, err error) error {
	if err != nil || a.output != "json" {
		return err
	}
	return a.printJSON("removed", map[string]string{kind: name})
}

func registerExpires(cmd *cobra.Command, d *date) {
	cmd.Flags().Var(d, "expires", "when the token expires: a `date`, or such as 90d (default a year from now)")
}

// date is a flag for a time in the future: a date, or a number of days from now.
type date struct {
	text string
	time time.Time
}

func newDate() *date { return &date{} }

func (d *date) String() string { return d.text }
func (*date) Type() string     { return "date" }

func (d *date) Set(text string) error {
	d.text = text
	if days, ok := strings.CutSuffix(text, "d"); ok {
		if n, err := strconv.ParseUint(days, 10, 12); err == nil && n > 0 {
			d.time = time.Now().Add(time.Duration(n) * 24 * time.Hour)
			return nil
		}
	} else if at, err := time.Parse(time.DateOnly, text); err == nil {
		d.time = at
		return nil
	}
	return fmt.Errorf("must be a date such as 2030-12-31, or a number of days such as 90d")
}

// stamp is the time for the API; none where the flag was not given.
func (d *date) stamp() *timestamppb.Timestamp {
	if d.time.IsZero() {
		return nil
	}
	return timestamppb.New(d.time)
}
