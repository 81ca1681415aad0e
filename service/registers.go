package service

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/ledger"
)

// Registers is the use cases on the book. All its fields but Salt must be set. It is safe for concurrent use and must not be copied after first use.
type Registers struct {
	History History
	Clock   func() time.Time
	NewID   func() uuid.UUID
	Salt    func() ledger.Salt // of what is written about a person; nil: chance

	learner learner
}

// Decode reads the attributes of a thing as sent and says everything that is wrong with them, as an *Error of kind
// invalid: of the JSON, the contract and fleet's Check.
type Decode func(attributes []byte, now time.Time) (fleet.Entity, error)

// Match is a condition on the version a change starts from (RFC 9110, 13.1.1). The zero value is none.
type Match struct {
	Any    bool     // whichever is in force
	SHA256 []string // hex of a body
}

// Given tells whether there is a condition.
func (m Match) Given() bool { return m.Any || len(m.SHA256) > 0 }

func (m Match) fits(v Version) bool { return m.Any || slices.Contains(m.SHA256, v.BodySHA256) }

// Draft is a thing to be recorded, or the whole of what is to stand in its place.
type Draft struct {
	Kind      fleet.Kind
	Under     uuid.UUID // what it belongs to; uuid.Nil for a kind that belongs to nothing
	Within    uuid.UUID // the vessel it is sent for, which must be there; uuid.Nil: none
	ValidFrom time.Time // zero: when it happened, or now
	By        string
	Entity    fleet.Entity
}

// Patch is a change to a thing there is.
type Patch struct {
	Kind      fleet.Kind
	ID        uuid.UUID
	ValidFrom time.Time // zero: as the version it starts from for what happened, else now
	By        string
	Match     Match
	Merge     any // RFC 7396, as encoding/json reads it into any
	Decode    Decode
}

// mostAhead is how far ahead a change may be recorded.
const mostAhead = 366 * 24 * time.Hour

// Add records a new thing, at most once for a claim. A repeat gets the first answer and true.
func (r *Registers) Add(ctx context.Context, org OrgID, claim Claim, d Draft) (Answer, bool, error) {
	if err := r.checkFrom(d.ValidFrom); err != nil {
		return Answer{}, false, err
	}
	answer, repeated, err := r.History.Once(ctx, org, claim, func(ctx context.Context, rec Recorder) (Answer, error) {
		if err := belongs(ctx, rec, d); err != nil {
			return Answer{}, err
		}
		v, err := r.record(ctx, rec, d, r.NewID(), 1)
		return Answer{Body: v.Body}, err // as it is recorded: the claim keeps nothing written about people
	})
	if err == nil && fleet.NamesPeople(d.Kind) {
		answer.Body, err = r.wholeAnswer(ctx, org, answer.Body)
	}
	return answer, repeated, sortedFor(d.Kind, err)
}

func (r *Registers) wholeAnswer(ctx context.Context, org OrgID, body []byte) (_ []byte, err error) {
	bodies := [][]byte{body}
	err = r.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		bodies, err = whole(ctx, reader, body)
		return err
	})
	return bodies[0], err
}

// Put records the one thing of its kind there is at an id: the organisation's policy, a deployment's retrieval. It tells
// whether it is the first version. A further one asks a Match.
func (r *Registers) Put(ctx context.Context, org OrgID, d Draft, id uuid.UUID, match Match) (v Version, first bool, err error) {
	if err := r.checkFrom(d.ValidFrom); err != nil {
		return Version{}, false, err
	}
	err = r.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		if err := belongs(ctx, rec, d); err != nil {
			return err
		}
		stamp, err := rec.Turn(ctx, r.Clock)
		if err != nil {
			return err
		}
		base, n, err := rec.Base(ctx, d.Kind, id, orTime(d.ValidFrom, stamp.RecordedAt))
		switch first = errors.Is(err, ErrNotFound); {
		case err != nil && !first:
			return err
		case first && d.Kind == fleet.KindPolicy:
			base = defaultPolicy(org)
		}
		if !first || d.Kind == fleet.KindPolicy {
			if err := matchedWhole(ctx, rec, match, base); err != nil {
				return err
			}
		}
		if !first {
			d.ValidFrom = corrects(d.ValidFrom, base, d.Entity)
		}
		if v, err = r.write(ctx, rec, stamp, d, id, n+1); err != nil {
			return err
		}
		return wholeVersions(ctx, rec, d.Kind, &v)
	})
	return v, first, sortedFor(d.Kind, err)
}

// Change records a further version of a thing.
func (r *Registers) Change(ctx context.Context, org OrgID, p Patch) (v Version, err error) {
	if err := r.checkFrom(p.ValidFrom); err != nil {
		return Version{}, err
	}
	err = r.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		stamp, err := rec.Turn(ctx, r.Clock)
		if err != nil {
			return err
		}
		base, n, err := rec.Base(ctx, p.Kind, p.ID, orTime(p.ValidFrom, stamp.RecordedAt))
		if err != nil {
			return err
		}
		if err := matchedWhole(ctx, rec, p.Match, base); err != nil {
			return err
		}
		entity, err := merged(base, p, stamp.RecordedAt)
		if err != nil {
			return err
		}
		d := Draft{Kind: p.Kind, Under: base.Under, ValidFrom: corrects(p.ValidFrom, base, entity), By: p.By, Entity: entity}
		if v, err = r.write(ctx, rec, stamp, d, p.ID, n+1); err != nil {
			return err
		}
		return wholeVersions(ctx, rec, p.Kind, &v)
	})
	return v, sortedFor(p.Kind, err)
}

// Read returns a thing as of two times, and the times the answer holds for: a zero ValidAt is now, and a zero or
// coming KnownAt is the latest there is.
func (r *Registers) Read(ctx context.Context, org OrgID, kind fleet.Kind, id uuid.UUID, at AsOf) (v Version, _ AsOf, err error) {
	at = r.asked(at)
	err = r.History.View(ctx, org, at.KnownAt, func(ctx context.Context, reader Reader) error {
		if at, err = r.settle(ctx, reader, at); err != nil {
			return err
		}
		v, err = reader.InForce(ctx, kind, id, at)
		if errors.Is(err, ErrNotFound) && kind == fleet.KindPolicy {
			v, err = defaultPolicy(org), nil
		}
		if err != nil {
			return err
		}
		return wholeVersions(ctx, reader, kind, &v)
	})
	return v, at, sortedFor(kind, err)
}

// List returns a page as of two times, and the times. What the list is of must exist.
func (r *Registers) List(ctx context.Context, org OrgID, q RecordQuery) (page RecordPage, _ AsOf, err error) {
	q.AsOf = r.asked(q.AsOf)
	err = r.History.View(ctx, org, q.AsOf.KnownAt, func(ctx context.Context, reader Reader) error {
		if q.AsOf, err = r.settle(ctx, reader, q.AsOf); err != nil {
			return err
		}
		if err := belongs(ctx, reader, Draft{Kind: q.Kind, Under: q.Under, Within: q.ownedBy()}); err != nil {
			return err
		}
		if page, err = reader.Records(ctx, q); err != nil {
			return err
		}
		versions := make([]*Version, len(page.Items))
		for i := range page.Items {
			versions[i] = &page.Items[i]
		}
		return wholeVersions(ctx, reader, q.Kind, versions...)
	})
	return page, q.AsOf, sortedFor(q.Kind, err)
}

// ownedBy is the vessel a list is of, where that is not merely a filter.
func (q RecordQuery) ownedBy() uuid.UUID {
	if q.Kind == fleet.KindGear {
		return q.VesselID
	}
	return uuid.Nil
}

// settle puts the latest there is for a known_at that is not given, and now for such a valid_at. Now is not before the last
// change: another process's clock may be ahead, and what has been recorded as holding from now on holds.
func (r *Registers) settle(ctx context.Context, reader Reader, at AsOf) (AsOf, error) {
	until, err := reader.KnownUntil(ctx)
	if err != nil {
		return at, err
	}
	at.KnownAt = orTime(at.KnownAt, until)
	if at.ValidAt.IsZero() {
		at.ValidAt = r.Clock().UTC().Truncate(time.Microsecond)
		if at.ValidAt.Before(until) {
			at.ValidAt = until
		}
	}
	return at, nil
}

// asked makes times as fine as the store keeps them, and takes a coming known_at for one that is not given.
func (r *Registers) asked(at AsOf) AsOf {
	if at.KnownAt.After(r.Clock()) {
		at.KnownAt = time.Time{}
	}
	return AsOf{ValidAt: at.ValidAt.UTC().Truncate(time.Microsecond), KnownAt: at.KnownAt.UTC().Truncate(time.Microsecond)}
}

func (r *Registers) checkFrom(from time.Time) error {
	now := r.Clock()
	if from.IsZero() || (from.Year() >= 1900 && from.Before(now.Add(mostAhead))) {
		return nil
	}
	return &ParameterError{Name: "valid_from", Message: "must lie between the year 1900 and a year from now", Fix: "send the time from which on it holds"}
}

// ParameterError says what is wrong with a parameter, where the contract could not.
type ParameterError struct{ Name, Message, Fix string }

func (e *ParameterError) Error() string { return e.Name + " " + e.Message }

// belongs demands that what a draft belongs to is there.
func belongs(ctx context.Context, reader Reader, d Draft) error {
	if d.Within != uuid.Nil {
		return mustExist(ctx, reader, fleet.KindVessel, d.Within)
	}
	parent := fleet.Describe(d.Kind).Under
	if parent == "" {
		return nil
	}
	return mustExist(ctx, reader, parent, d.Under)
}

func mustExist(ctx context.Context, reader Reader, kind fleet.Kind, id uuid.UUID) error {
	there, err := reader.Exists(ctx, kind, id)
	if err == nil && !there {
		err = absent(kind, ErrNotFound)
	}
	return err
}

func matched(m Match, base Version) error {
	switch {
	case !m.Given():
		return &Error{Kind: KindUnmatched, Message: "say which version the change starts from: send its ETag as If-Match"}
	case !m.fits(base):
		return &Error{Kind: KindStale, Message: "another version is in force: read it anew and decide again"}
	}
	return nil
}

// matchedWhole is matched, where an ETag is of what was answered: with what is written about people in it.
func matchedWhole(ctx context.Context, reader textReader, m Match, base Version) error {
	if fleet.NamesPeople(base.Kind) {
		if err := wholeVersions(ctx, reader, base.Kind, &base); err != nil {
			return err
		}
		base.BodySHA256 = hexSHA256(base.Body)
	}
	return matched(m, base)
}

// merged applies a patch to the attributes of a version, and reads and checks the whole that comes of it.
func merged(base Version, p Patch, now time.Time) (fleet.Entity, error) {
	var members map[string]any
	if err := json.Unmarshal(base.Body, &members); err != nil {
		return nil, fmt.Errorf("read version %d: %w", base.Version, err)
	}
	for _, name := range slices.Concat(envelope, fleet.Describe(p.Kind).Settled) {
		delete(members, name)
	}
	whole, err := json.Marshal(fleet.MergePatch(members, p.Merge))
	if err != nil {
		return nil, fmt.Errorf("write the merged whole: %w", err)
	}
	return p.Decode(whole, now)
}

// corrects gives the time a further version holds from. What happened was so from the first: unless a time is given, the
// version takes the whole place of the one it starts from, or that would go on holding from its own time on.
func corrects(from time.Time, base Version, e fleet.Entity) time.Time {
	if from.IsZero() && !e.At().IsZero() {
		return base.ValidFrom
	}
	return from
}

// record takes a turn and writes.
func (r *Registers) record(ctx context.Context, rec Recorder, d Draft, id uuid.UUID, n int) (Version, error) {
	stamp, err := rec.Turn(ctx, r.Clock)
	if err != nil {
		return Version{}, err
	}
	return r.write(ctx, rec, stamp, d, id, n)
}

// write checks what the draft refers to, writes the body and records it.
func (r *Registers) write(ctx context.Context, rec Recorder, stamp Stamp, d Draft, id uuid.UUID, n int) (Version, error) {
	d.Entity.PutUnder(d.Under)
	if deployment, ok := d.Entity.(*fleet.Deployment); ok {
		if err := takePlansVessel(ctx, rec, deployment); err != nil {
			return Version{}, err
		}
	}
	if err := checkRefs(ctx, rec, d.Entity); err != nil {
		return Version{}, err
	}
	if err := r.part(ctx, rec, stamp, d.Entity); err != nil {
		return Version{}, err
	}
	from := orTime(orTime(d.ValidFrom, d.Entity.At()), stamp.RecordedAt)
	v := Version{
		Kind: d.Kind, ID: id, Version: n, Seq: stamp.Seq, RecordedAt: stamp.RecordedAt,
		ValidFrom: from.UTC().Truncate(time.Microsecond), VesselID: d.Entity.Vessel(), Under: d.Under, By: d.By,
	}
	body, err := bodyOf(v, d.Entity)
	if err != nil {
		return Version{}, err
	}
	v.Body, v.BodySHA256 = body, hexSHA256(body)
	return v, rec.Record(ctx, v)
}

// takePlansVessel gives a deployment the vessel its plan was made for.
func takePlansVessel(ctx context.Context, reader Reader, d *fleet.Deployment) error {
	plan, err := reader.PlanHead(ctx, d.PlanID)
	switch {
	case err != nil || plan.VesselID == uuid.Nil:
		return err
	case d.VesselID == nil:
		d.VesselID = &plan.VesselID
	case *d.VesselID != plan.VesselID:
		field := FieldError{Pointer: "/vessel_id", Message: "is not the vessel the plan was made for", Fix: "leave it out"}
		return &Error{Kind: KindNotReferable, Message: "the vessel does not fit the plan", Fields: []FieldError{field}}
	}
	return nil
}

func checkRefs(ctx context.Context, reader Reader, e fleet.Entity) error {
	var fields []FieldError
	for _, ref := range e.Refs() {
		there, err := reader.Exists(ctx, ref.Kind, ref.ID)
		if err != nil {
			return err
		}
		if !there {
			fields = append(fields, FieldError{Pointer: ref.Pointer, Message: "there is no " + words(ref.Kind) + " with this id", Fix: "send the id of one in your organisation, or leave it out"})
		}
	}
	if fields != nil {
		return &Error{Kind: KindNotReferable, Message: "the body refers to what is not there", Fields: fields}
	}
	return nil
}

// envelope is the members the service gives to every body.
var envelope = []string{"id", "version", "valid_from", "recorded_at", "recorded_by", "links"}

// bodyOf writes the body of a version: what the service gives, the attributes, the addresses.
func bodyOf(v Version, e fleet.Entity) ([]byte, error) {
	attributes, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("encode %s: %w", v.Kind, err)
	}
	links, err := json.Marshal(linksOf(v))
	if err != nil {
		return nil, fmt.Errorf("encode links: %w", err)
	}
	b := fmt.Appendf(nil, `{"id":%q,"version":%d,"valid_from":%q,"recorded_at":%q,"recorded_by":%s,`,
		v.ID, v.Version, v.ValidFrom.Format(time.RFC3339Nano), v.RecordedAt.Format(time.RFC3339Nano), strconv.QuoteToASCII(v.By))
	b = append(b, attributes[1:len(attributes)-1]...)
	b = append(b, `,"links":`...)
	b = append(b, links...)
	return append(b, '}'), nil
}

// linksOf gives the addresses that belong to a version.
func linksOf(v Version) map[string]string {
	d := fleet.Describe(v.Kind)
	links := map[string]string{"self": d.Path + "/" + v.ID.String()}
	switch v.Kind {
	case fleet.KindPolicy:
		links["self"] = d.Path
	case fleet.KindVessel:
		links["gear"], links["drills"] = links["self"]+"/gear", links["self"]+"/drills"
		links["storm_plan"], links["drift"] = links["self"]+"/storm-plan", links["self"]+"/drift"
		links["readiness"] = links["self"] + "/readiness"
	case fleet.KindGear:
		links["inspections"], links["use"] = links["self"]+"/inspections", links["self"]+"/use"
	case fleet.KindDeployment:
		links["observations"], links["retrieval"] = links["self"]+"/observations", links["self"]+"/retrieval"
	case fleet.KindRetrieval:
		links["self"] += "/retrieval"
	}
	if v.VesselID != uuid.Nil {
		links["vessel"] = fleet.Describe(fleet.KindVessel).Path + "/" + v.VesselID.String()
	}
	switch d.Under {
	case "":
	case fleet.KindPlan:
		links["plan"] = PlanLinks(v.Under)["self"]
	default:
		links[string(d.Under)] = fleet.Describe(d.Under).Path + "/" + v.Under.String()
	}
	return links
}

// defaultPolicy is the policy of an organisation that has recorded none: version 0, in force for ever.
func defaultPolicy(org OrgID) Version {
	p := fleet.DefaultPolicy()
	v := Version{Kind: fleet.KindPolicy, ID: org, ValidFrom: time.Unix(0, 0).UTC(), RecordedAt: time.Unix(0, 0).UTC(), By: "default"}
	v.Body, _ = bodyOf(v, &p) // numbers and texts can be encoded
	v.BodySHA256 = hexSHA256(v.Body)
	return v
}

// sortedFor is sorted, in the words of a kind.
func sortedFor(kind fleet.Kind, err error) error {
	if known := (*Error)(nil); errors.As(err, &known) {
		return err
	}
	if errors.Is(err, ErrNotFound) {
		return absent(kind, err)
	}
	return sorted(err)
}

func absent(kind fleet.Kind, err error) error {
	return &Error{Kind: KindNotFound, Message: "there is no " + words(kind) + " here, as of the times asked for", Err: err}
}

func words(kind fleet.Kind) string {
	if kind == fleet.KindPlan {
		return "plan"
	}
	return fleet.Describe(kind).Words
}

func orTime(t, otherwise time.Time) time.Time {
	if t.IsZero() {
		return otherwise
	}
	return t
}

func hexSHA256(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}
