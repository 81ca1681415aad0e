package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"rideout/service/fleet"
)

// KindKey names keys in the log. They are no things of the book.
const KindKey fleet.Kind = "key"

// Kinds of error of keys.
const (
	KindForbidden Kind = "forbidden"      // the caller has not the scope it would need
	KindKeyEnded  Kind = "key_ended"      // what is revoked or has expired is not rotated
	KindLastAdmin Kind = "last_admin_key" // nobody could make keys any more
)

const (
	// keyOverlap is how long a rotated key goes on when nothing is said, and keyOverlapMost how long it may.
	keyOverlap     = 24 * time.Hour
	keyOverlapMost = 30 * 24 * time.Hour
	// keyLifeMost is how far ahead a key may be made to expire. One that does not expire needs no such date.
	keyLifeMost = 5 * 366 * 24 * time.Hour
	// adminSpare is how long another admin key must go on for one to be revoked: one that is being replaced does not count.
	adminSpare = keyOverlap
	labelMost  = 200
)

// KeyRecord is what is kept of a key: everything but the key. A zero time is none.
type KeyRecord struct {
	ID          uuid.UUID
	Version     int    // from 1; what becomes of a key is noted in the log
	Name        string // how it begins; empty for a key made before names were kept, until it is used
	Label       string
	Scopes      []Scope
	CreatedAt   time.Time
	CreatedBy   string
	ExpiresAt   time.Time
	LastUsedAt  time.Time // to the minute
	RevokedAt   time.Time
	RotatedFrom uuid.UUID // the key whose place it takes; uuid.Nil: none's
}

// Ended tells whether a key opens nothing at a time.
func (k KeyRecord) Ended(at time.Time) bool {
	return !k.RevokedAt.IsZero() || (!k.ExpiresAt.IsZero() && !at.Before(k.ExpiresAt))
}

// KeyPage is one page of keys, newest id first; Next and Prev are nil at the ends.
type KeyPage struct {
	Items      []KeyRecord
	Next, Prev *RecordPlace
}

// Keyring tells whose a key is.
type Keyring interface {
	// KeyByHash returns ErrNotFound for an unknown or revoked key. One that has expired it returns.
	KeyByHash(ctx context.Context, hash []byte) (OrgID, KeyRecord, error)
	// KeyUsed notes when a key was last used, and its name where that is not known.
	KeyUsed(ctx context.Context, org OrgID, id uuid.UUID, name string, at time.Time) error
}

// KeyReader reads an organisation's keys.
type KeyReader interface {
	// Key returns ErrNotFound for a key that is not the organisation's.
	Key(ctx context.Context, id uuid.UUID) (KeyRecord, error)
	Keys(ctx context.Context, from RecordPlace, limit int) (KeyPage, error)
	// AnotherAdmin tells whether a key besides this one has the scope admin and goes on after a time.
	AnotherAdmin(ctx context.Context, besides uuid.UUID, after time.Time) (bool, error)
}

// KeyWriter keeps keys.
type KeyWriter interface {
	AddKey(ctx context.Context, k KeyRecord, hash []byte) error
	// EndKey keeps a key's version and when it ends.
	EndKey(ctx context.Context, k KeyRecord) error
}

// KeyDraft is a key to be made.
type KeyDraft struct {
	Label     string
	Scopes    []Scope
	ExpiresAt time.Time // zero: it does not expire
}

// KeyRotation puts a new key in the place of one.
type KeyRotation struct {
	ID        uuid.UUID
	Until     time.Time // how long the old one goes on; zero: a day; past: it ends at once
	ExpiresAt time.Time // of the new one; zero: it lives as long as the old one was to
}

// MadeKey is the answer to a key that is made. The store keeps the answer without the key, so a repeat has none.
type MadeKey struct {
	Answer []byte // JSON of KeyDocument
	Key    Key    // the zero value for a repeat
}

// Keys is the use cases on an organisation's keys. All fields must be set. It is safe for concurrent use.
type Keys struct {
	History History
	Clock   func() time.Time
	NewID   func() uuid.UUID
}

// Create makes a key, at most once for a claim. It gives no scope that the caller has not.
func (k *Keys) Create(ctx context.Context, org OrgID, caller Caller, claim Claim, d KeyDraft) (MadeKey, bool, error) {
	if err := k.Check(d); err != nil {
		return MadeKey{}, false, err
	}
	return k.once(ctx, org, claim, func(ctx context.Context, rec Recorder) (KeyRecord, Key, error) {
		return k.issue(ctx, rec, caller, KeyRecord{Label: d.Label, Scopes: d.Scopes, ExpiresAt: d.ExpiresAt})
	})
}

// Rotate makes a key in the place of one, which goes on for a while. Whoever gets the new one has its scopes, so the
// caller must have them.
func (k *Keys) Rotate(ctx context.Context, org OrgID, caller Caller, claim Claim, r KeyRotation) (MadeKey, bool, error) {
	if err := k.checkRotation(r); err != nil {
		return MadeKey{}, false, err
	}
	return k.once(ctx, org, claim, func(ctx context.Context, rec Recorder) (KeyRecord, Key, error) {
		stamp, err := rec.Turn(ctx, k.Clock)
		if err != nil {
			return KeyRecord{}, Key{}, err
		}
		old, err := rec.Key(ctx, r.ID)
		if err != nil {
			return KeyRecord{}, Key{}, err
		}
		if old.Ended(stamp.RecordedAt) {
			return KeyRecord{}, Key{}, &Error{Kind: KindKeyEnded, Message: "the key is revoked or has expired; make another"}
		}
		next := KeyRecord{Label: old.Label, Scopes: old.Scopes, RotatedFrom: old.ID, ExpiresAt: r.ExpiresAt}
		if next.ExpiresAt.IsZero() && !old.ExpiresAt.IsZero() {
			next.ExpiresAt = stamp.RecordedAt.Add(old.ExpiresAt.Sub(old.CreatedAt))
		}
		ends := orTime(r.Until, stamp.RecordedAt.Add(keyOverlap))
		if ends.Before(stamp.RecordedAt) {
			ends = stamp.RecordedAt
		}
		if old.ExpiresAt.IsZero() || ends.Before(old.ExpiresAt) {
			old.ExpiresAt = ends
		}
		old.Version++
		if err := end(ctx, rec, stamp, old, caller.By); err != nil {
			return KeyRecord{}, Key{}, err
		}
		return k.issue(ctx, rec, caller, next)
	})
}

// errRevoked says that there is nothing to do.
var errRevoked = errors.New("revoked already")

// Revoke ends a key for good. One that is revoked stays as it is. The last admin key is not revoked, because nobody
// could make another: make that first.
func (k *Keys) Revoke(ctx context.Context, org OrgID, caller Caller, id uuid.UUID) (r KeyRecord, err error) {
	err = k.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		stamp, err := rec.Turn(ctx, k.Clock)
		if err != nil {
			return err
		}
		if r, err = rec.Key(ctx, id); err != nil {
			return err
		}
		if !r.RevokedAt.IsZero() {
			return errRevoked // takes back the turn
		}
		if slices.Contains(r.Scopes, ScopeAdmin) && !r.Ended(stamp.RecordedAt) {
			other, err := rec.AnotherAdmin(ctx, id, stamp.RecordedAt.Add(adminSpare))
			if err != nil {
				return err
			}
			if !other {
				return &Error{Kind: KindLastAdmin, Message: "no other key with the scope admin goes on for a day: make one first, then revoke this one"}
			}
		}
		r.RevokedAt = stamp.RecordedAt
		r.Version++
		return end(ctx, rec, stamp, r, caller.By)
	})
	if errors.Is(err, errRevoked) {
		err = nil
	}
	return r, sortedKey(err)
}

// Get returns a key.
func (k *Keys) Get(ctx context.Context, org OrgID, id uuid.UUID) (r KeyRecord, err error) {
	err = k.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		r, err = reader.Key(ctx, id)
		return err
	})
	return r, sortedKey(err)
}

// List returns a page of the organisation's keys, the ended ones too.
func (k *Keys) List(ctx context.Context, org OrgID, from RecordPlace, limit int) (page KeyPage, err error) {
	err = k.History.View(ctx, org, time.Time{}, func(ctx context.Context, reader Reader) error {
		page, err = reader.Keys(ctx, from, limit)
		return err
	})
	return page, sortedKey(err)
}

// once makes a key under a claim. The claim keeps the answer without the key.
func (k *Keys) once(ctx context.Context, org OrgID, claim Claim, work func(context.Context, Recorder) (KeyRecord, Key, error)) (MadeKey, bool, error) {
	var made Key
	answer, repeated, err := k.History.Once(ctx, org, claim, func(ctx context.Context, rec Recorder) (Answer, error) {
		record, key, err := work(ctx, rec)
		if err != nil {
			return Answer{}, err
		}
		made = key
		body, err := json.Marshal(record.Document())
		return Answer{Body: body}, err
	})
	if err != nil {
		return MadeKey{}, false, sortedKey(err)
	}
	if repeated {
		made = Key{}
	}
	return MadeKey{answer.Body, made}, repeated, nil
}

// issue makes a key and notes it.
func (k *Keys) issue(ctx context.Context, rec Recorder, caller Caller, r KeyRecord) (KeyRecord, Key, error) {
	if lacking := caller.lacks(r.Scopes); len(lacking) > 0 {
		return KeyRecord{}, Key{}, &Error{Kind: KindForbidden, Message: fmt.Sprintf("your key has not %s, and gives no more than it has", listed(lacking))}
	}
	stamp, err := rec.Turn(ctx, k.Clock)
	if err != nil {
		return KeyRecord{}, Key{}, err
	}
	key := NewKey()
	r.ID, r.Version, r.Name, r.CreatedAt, r.CreatedBy = k.NewID(), 1, key.Name(), stamp.RecordedAt, caller.By
	r.Scopes = slices.Sorted(slices.Values(r.Scopes))
	if err := rec.AddKey(ctx, r, key.Hash()); err != nil {
		return KeyRecord{}, Key{}, err
	}
	return r, key, noteKey(ctx, rec, stamp, r, caller.By)
}

// end keeps when a key ends, as its next version.
func end(ctx context.Context, rec Recorder, stamp Stamp, r KeyRecord, by string) error {
	if err := rec.EndKey(ctx, r); err != nil {
		return err
	}
	return noteKey(ctx, rec, stamp, r, by)
}

// noteKey notes in the log what has become of a key. When it was used is no such thing.
func noteKey(ctx context.Context, rec Recorder, stamp Stamp, r KeyRecord, by string) error {
	r.LastUsedAt = time.Time{}
	body, err := json.Marshal(r.Document())
	if err != nil {
		return fmt.Errorf("encode key: %w", err)
	}
	return rec.Record(ctx, Version{
		Kind: KindKey, ID: r.ID, Version: r.Version, Seq: stamp.Seq, ValidFrom: stamp.RecordedAt, RecordedAt: stamp.RecordedAt,
		By: by, Body: body, BodySHA256: hexSHA256(body),
	})
}

// KeyDocument is a key as it is answered and noted. Key is there once, in the answer that makes it.
type KeyDocument struct {
	ID          uuid.UUID         `json:"id"`
	Version     int               `json:"version"`
	Name        string            `json:"name,omitempty"`
	Label       string            `json:"label"`
	Scopes      []Scope           `json:"scopes"`
	CreatedAt   time.Time         `json:"created_at"`
	CreatedBy   string            `json:"created_by"`
	ExpiresAt   *time.Time        `json:"expires_at,omitempty"`
	LastUsedAt  *time.Time        `json:"last_used_at,omitempty"`
	RevokedAt   *time.Time        `json:"revoked_at,omitempty"`
	RotatedFrom *uuid.UUID        `json:"rotated_from,omitempty"`
	Key         string            `json:"key,omitempty"`
	Links       map[string]string `json:"links"`
}

// Document gives a key as it is answered.
func (k KeyRecord) Document() KeyDocument {
	return KeyDocument{
		ID: k.ID, Version: k.Version, Name: k.Name, Label: k.Label, Scopes: k.Scopes, CreatedAt: k.CreatedAt, CreatedBy: k.CreatedBy,
		ExpiresAt: orNoTime(k.ExpiresAt), LastUsedAt: orNoTime(k.LastUsedAt), RevokedAt: orNoTime(k.RevokedAt),
		RotatedFrom: orAbsent(k.RotatedFrom), Links: keyLinks(k.ID),
	}
}

func keyLinks(id uuid.UUID) map[string]string {
	self := "/v1/keys/" + id.String()
	return map[string]string{"self": self, "rotation": self + "/rotation"}
}

func orNoTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}

// Check says everything that is wrong with a key to be made.
func (k *Keys) Check(d KeyDraft) error {
	var fields []FieldError
	if n := utf8.RuneCountInString(d.Label); n == 0 || n > labelMost || strings.ContainsFunc(d.Label, unicode.IsControl) {
		fields = append(fields, FieldError{"/label", fmt.Sprintf("must be one line of 1 to %d characters", labelMost), "say what the key is for"})
	}
	if _, err := ParseKey(strings.TrimSpace(d.Label)); err == nil {
		fields = append(fields, FieldError{"/label", "is a key", "say what the key is for; and revoke the key that was sent here"})
	}
	if len(d.Scopes) == 0 {
		fields = append(fields, FieldError{"/scopes", "is empty", "name what the key may do: " + listed(AllScopes())})
	}
	for i, s := range d.Scopes {
		switch at := fmt.Sprintf("/scopes/%d", i); {
		case !slices.Contains(AllScopes(), s):
			fields = append(fields, FieldError{at, "is no scope", "send one of " + listed(AllScopes())})
		case slices.Contains(d.Scopes[:i], s):
			fields = append(fields, FieldError{at, "is named twice", "name it once"})
		}
	}
	if fields = append(fields, k.checkExpiry(d.ExpiresAt)...); len(fields) > 0 {
		return &Error{Kind: KindInvalid, Message: "the request is refused", Fields: fields}
	}
	return nil
}

func (k *Keys) checkRotation(r KeyRotation) error {
	fields := k.checkExpiry(r.ExpiresAt)
	if r.Until.After(k.Clock().Add(keyOverlapMost)) {
		fields = append(fields, FieldError{"/old_valid_until", "is more than 30 days ahead", "send an earlier time, or leave it out for a day"})
	}
	if len(fields) > 0 {
		return &Error{Kind: KindInvalid, Message: "the request is refused", Fields: fields}
	}
	return nil
}

func (k *Keys) checkExpiry(at time.Time) []FieldError {
	now := k.Clock()
	if at.IsZero() || (at.After(now) && at.Before(now.Add(keyLifeMost))) {
		return nil
	}
	return []FieldError{{"/expires_at", "must be to come, and within 5 years", "send such a time, or leave it out for a key that does not expire"}}
}

func listed(scopes []Scope) string {
	words := make([]string, len(scopes))
	for i, s := range scopes {
		words[i] = string(s)
	}
	return strings.Join(words, ", ")
}

// sortedKey is sorted, in the words of keys.
func sortedKey(err error) error {
	if known := (*Error)(nil); !errors.As(err, &known) && errors.Is(err, ErrNotFound) {
		return &Error{Kind: KindNotFound, Message: "there is no key with this id", Err: err}
	}
	return sorted(err)
}
