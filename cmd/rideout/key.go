package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"

	"rideout/service"
	"rideout/store"
)

// operator is who asks at the command line. Whoever can reach the database may do everything.
func operator() service.Caller {
	return service.Caller{By: "command line", Scopes: service.AllScopes()}
}

// keyOrder is what was typed.
type keyOrder struct {
	organisation, label, scopes, expires, name string
	overlap                                    time.Duration
}

// keyCommand makes a key; list, rotate and revoke as the first word do that.
func keyCommand(ctx context.Context, p program, args []string) error {
	verb := "make"
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		verb, args = args[0], args[1:]
	}
	var o keyOrder
	flags := newFlags("key")
	if verb != "make" {
		flags = newFlags("key " + verb)
	}
	flags.StringVar(&o.organisation, "organisation", "", "the `name` of the organisation, which is made when there is none for its first key")
	run := keyList
	switch verb {
	case "make":
		flags.StringVar(&o.label, "label", "command line", "what the key is for, in your `words`")
		flags.StringVar(&o.scopes, "scopes", scopeList(service.EverydayScopes()), "what the key may do: `scopes` with commas between; rescue:emergency, which reads other organisations' vessels, is given only when named")
		flags.StringVar(&o.expires, "expires", "", "when the key expires, as a `time` such as 2027-01-01T00:00:00Z or a while such as 2160h; it does not, when nothing is said")
		run = keyMake
	case "list":
	case "rotate":
		flags.StringVar(&o.name, "name", "", "how the key begins, such as `ro_91m3hrxe`")
		flags.DurationVar(&o.overlap, "overlap", 24*time.Hour, "how `long` the old key goes on")
		run = keyRotate
	case "revoke":
		flags.StringVar(&o.name, "name", "", "how the key begins, such as `ro_91m3hrxe`")
		run = keyRevoke
	default:
		return usageError{fmt.Sprintf("key: there is no %q; there are list, rotate, revoke, and with flags alone a key is made", verb)}
	}
	return withKeys(ctx, p, flags, args, &o, run)
}

// withKeys opens the database for an order.
func withKeys(ctx context.Context, p program, flags *flag.FlagSet, args []string, o *keyOrder, run func(context.Context, program, *store.Store, keyOrder) error) (err error) {
	c, err := configure(p, "data")
	if err != nil {
		return err
	}
	flags.StringVar(&c.DataDir, "data-dir", c.DataDir, "`directory` of a private Postgres that is not being served now (not used when DATABASE_URL is set)")
	if err := parse(p, flags, args); err != nil {
		return err
	}
	if strings.TrimSpace(o.organisation) == "" {
		return usageError{flags.Name() + ": name the organisation by --organisation"}
	}
	d, err := openDatabase(ctx, c, newLog(p.stderr, c), nil)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.close()) }()
	return run(ctx, p, d.store, *o)
}

// keyMake makes a key and prints it, this once: the store keeps its hash alone.
func keyMake(ctx context.Context, p program, s *store.Store, o keyOrder) error {
	d := service.KeyDraft{Label: o.label}
	for word := range strings.SplitSeq(o.scopes, ",") {
		d.Scopes = append(d.Scopes, service.Scope(strings.TrimSpace(word)))
	}
	var err error
	if d.ExpiresAt, err = readExpiry(o.expires); err != nil {
		return err
	}
	_, key, err := newKey(ctx, s, o.organisation, d)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.stdout, key.Reveal())
	return err
}

func readExpiry(text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	if while, err := time.ParseDuration(text); err == nil {
		return time.Now().Add(while), nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return time.Time{}, usageError{fmt.Sprintf("key: --expires is %q: give a time such as 2027-01-01T00:00:00Z, or a while such as 2160h", text)}
	}
	return at, nil
}

// keyList prints what is kept of an organisation's keys, newest first.
func keyList(ctx context.Context, p program, s *store.Store, o keyOrder) error {
	keys, _, err := keysOfOrganisation(ctx, s, o.organisation)
	if err != nil {
		return err
	}
	table := tabwriter.NewWriter(p.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "NAME\tLABEL\tSCOPES\tMADE\tEXPIRES\tLAST USED\tREVOKED")
	for _, k := range keys {
		name := cmp.Or(k.Name, "("+k.ID.String()+")")
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", name, k.Label, scopeList(k.Scopes), minute(k.CreatedAt), minute(k.ExpiresAt), minute(k.LastUsedAt), minute(k.RevokedAt))
	}
	return table.Flush()
}

// keyRotate puts a new key in the place of one, and prints it.
func keyRotate(ctx context.Context, p program, s *store.Store, o keyOrder) error {
	org, k, err := namedKey(ctx, s, o)
	if err != nil {
		return err
	}
	made, _, err := keysOf(s).Rotate(ctx, org, operator(), ownClaim(), service.KeyRotation{ID: k.ID, Until: time.Now().Add(o.overlap)})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(p.stdout, made.Key.Reveal())
	return err
}

// keyRevoke ends a key.
func keyRevoke(ctx context.Context, p program, s *store.Store, o keyOrder) error {
	org, k, err := namedKey(ctx, s, o)
	if err != nil {
		return err
	}
	if k, err = keysOf(s).Revoke(ctx, org, operator(), k.ID); err != nil {
		return err
	}
	_, err = fmt.Fprintf(p.stdout, "%s is revoked since %s\n", cmp.Or(k.Name, k.ID.String()), k.RevokedAt.Format(time.RFC3339))
	return err
}

// namedKey finds the key that was named, by its name or its id.
func namedKey(ctx context.Context, s *store.Store, o keyOrder) (service.OrgID, service.KeyRecord, error) {
	if o.name == "" {
		return service.OrgID{}, service.KeyRecord{}, usageError{"key: say which key by --name; rideout key list shows the names"}
	}
	keys, org, err := keysOfOrganisation(ctx, s, o.organisation)
	if err != nil {
		return org, service.KeyRecord{}, err
	}
	for _, k := range keys {
		if k.Name == o.name || k.ID.String() == o.name {
			return org, k, nil
		}
	}
	return org, service.KeyRecord{}, usageError{"key: the organisation has no such key; rideout key list shows its keys"}
}

func keysOfOrganisation(ctx context.Context, s *store.Store, organisation string) (all []service.KeyRecord, org service.OrgID, err error) {
	org, err = s.OrganisationByName(ctx, organisation)
	if errors.Is(err, service.ErrNotFound) {
		return nil, org, usageError{fmt.Sprintf("key: there is no organisation %q", organisation)}
	} else if err != nil {
		return nil, org, err
	}
	var from service.RecordPlace
	for {
		page, err := keysOf(s).List(ctx, org, from, 200)
		if err != nil {
			return nil, org, err
		}
		if all = append(all, page.Items...); page.Next == nil {
			return all, org, nil
		}
		from = *page.Next
	}
}

// newKey makes a key for an organisation, and the organisation when there is none of the name.
func newKey(ctx context.Context, s *store.Store, organisation string, d service.KeyDraft) (service.OrgID, service.Key, error) {
	if err := keysOf(s).Check(d); err != nil {
		return service.OrgID{}, service.Key{}, err
	}
	org, err := s.AddOrganisation(ctx, organisation)
	if err != nil {
		return org, service.Key{}, err
	}
	made, _, err := keysOf(s).Create(ctx, org, operator(), ownClaim(), d)
	return org, made.Key, err
}

// ownClaim is the claim of an order that is given once.
func ownClaim() service.Claim {
	sum := sha256.Sum256(nil)
	return service.Claim{Key: "command-line-" + uuid.NewString(), Route: "rideout key", RequestSHA256: hex.EncodeToString(sum[:])}
}

func scopeList(scopes []service.Scope) string {
	words := make([]string, len(scopes))
	for i, s := range scopes {
		words[i] = string(s)
	}
	return strings.Join(words, ",")
}

// minute writes a time for people; none is a dash.
func minute(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.UTC().Format("2006-01-02T15:04Z")
}
