package service

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"time"

	"github.com/google/uuid"

	"rideout/service/fleet"
	"rideout/service/ledger"
)

// PersonalText is what is written about a person. It is not part of any body: there its commitment stands for it.
type PersonalText struct {
	Commitment string
	PersonID   uuid.UUID
	RecordedAt time.Time
	Salt       ledger.Salt
	Text       string
	ErasedAt   time.Time // zero: it is there
}

// Erasure is that everything written about a person was erased.
type Erasure struct {
	PersonID uuid.UUID `json:"person_id"`
	ErasedAt time.Time `json:"erased_at"`
	Texts    int       `json:"texts"` // how many were there to erase
}

// part takes what is written about people out of a thing and leaves commitments. A commitment that is sent keeps what it stands
// for. One to what was erased does not come back by being sent with the text, as a program does that read it before.
func (r *Registers) part(ctx context.Context, rec Recorder, stamp Stamp, e fleet.Entity) error {
	personal, ok := e.(fleet.Personal)
	if !ok {
		return nil
	}
	people := personal.Named()
	known, err := rec.Texts(ctx, commitmentsOf(people))
	if err != nil {
		return err
	}
	var fields []FieldError
	for i := range people {
		p := &people[i]
		before, isKnown := known[p.Commitment]
		if isKnown && p.PersonID == uuid.Nil {
			p.PersonID = before.PersonID
		}
		wrong := func(member, message, fix string) {
			fields = append(fields, FieldError{Pointer: fmt.Sprintf("/persons/%d/%s", i, member), Message: message, Fix: fix})
		}
		switch {
		case p.Commitment != "" && !isKnown:
			wrong("commitment", "stands for nothing that was recorded", "leave it out and send the text")
		case isKnown && p.PersonID != before.PersonID:
			wrong("person_id", "is not the person the commitment is for", "send the person_id it was read with")
		case isKnown && !before.ErasedAt.IsZero() && p.Text != "":
			wrong("text", "was erased", "leave it out")
		case isKnown && (p.Text == "" || p.Text == before.Text):
			p.Text = ""
		default:
			if err := r.commit(ctx, rec, stamp, p); err != nil {
				return err
			}
		}
	}
	if fields != nil {
		return &Error{Kind: KindNotReferable, Message: "what is written about people does not fit", Fields: fields}
	}
	return nil
}

func commitmentsOf(people []fleet.Person) (list []string) {
	for _, p := range people {
		if p.Commitment != "" {
			list = append(list, p.Commitment)
		}
	}
	return list
}

// commit keeps a text apart and puts a commitment in its place.
func (r *Registers) commit(ctx context.Context, rec Recorder, stamp Stamp, p *fleet.Person) error {
	if p.PersonID == uuid.Nil {
		p.PersonID = r.NewID()
	}
	text := PersonalText{PersonID: p.PersonID, RecordedAt: stamp.RecordedAt, Text: p.Text, Salt: r.salt()}
	text.Commitment = ledger.Commit(text.Text, text.Salt)
	p.Commitment, p.Text = text.Commitment, ""
	return rec.KeepText(ctx, text)
}

func (r *Registers) salt() (s ledger.Salt) {
	if r.Salt != nil {
		return r.Salt()
	}
	_, _ = rand.Read(s[:]) // never fails: the runtime aborts without a source of chance
	return s
}

// commitment is how one stands in a body. In no text of a body can it stand so, because there quotes are escaped.
var commitment = regexp.MustCompile(`"commitment":"([0-9a-f]{64})"`)

// textReader reads what is written about people; a Reader is one.
type textReader interface {
	Texts(ctx context.Context, commitments []string) (map[string]PersonalText, error)
}

// whole gives bodies with what is written about people, or when it was erased.
func whole(ctx context.Context, reader textReader, bodies ...[]byte) ([][]byte, error) {
	var named []string
	for _, body := range bodies {
		for _, m := range commitment.FindAllSubmatch(body, -1) {
			named = append(named, string(m[1]))
		}
	}
	if named == nil {
		return bodies, nil
	}
	texts, err := reader.Texts(ctx, named)
	if err != nil {
		return nil, err
	}
	out := make([][]byte, len(bodies))
	for i, body := range bodies {
		out[i] = commitment.ReplaceAllFunc(body, func(member []byte) []byte {
			return append(bytes.Clone(member), told(texts[string(commitment.FindSubmatch(member)[1])])...)
		})
	}
	return out, nil
}

// told is what stands beside a commitment in an answer.
func told(t PersonalText) []byte {
	switch {
	case !t.ErasedAt.IsZero():
		return fmt.Appendf(nil, `,"erased_at":%q`, t.ErasedAt.UTC().Format(time.RFC3339Nano))
	case t.Text == "":
		return nil // the owner of the database took it
	}
	text, _ := json.Marshal(t.Text) // a string can be encoded
	return append([]byte(`,"text":`), text...)
}

// wholeVersions puts what is written about people into versions of a kind.
func wholeVersions(ctx context.Context, reader textReader, kind fleet.Kind, versions ...*Version) error {
	if !fleet.NamesPeople(kind) {
		return nil
	}
	bodies := make([][]byte, len(versions))
	for i, v := range versions {
		bodies[i] = v.Body
	}
	bodies, err := whole(ctx, reader, bodies...)
	if err != nil {
		return err
	}
	for i, v := range versions {
		v.Body = bodies[i]
	}
	return nil
}

// Erase erases everything written about a person, for good. The log has an entry that it was done; the bodies stay as they
// are, with commitments to what nobody can tell any more. What was read before reads otherwise after it, whatever
// the time it is asked for: that is what erasing is for. A repeat changes nothing.
func (r *Registers) Erase(ctx context.Context, org OrgID, person uuid.UUID, by string) (e Erasure, err error) {
	err = r.History.Change(ctx, org, func(ctx context.Context, rec Recorder) error {
		stamp, err := rec.Turn(ctx, r.Clock)
		if err != nil {
			return err
		}
		last, erased, err := rec.Erase(ctx, person, stamp.RecordedAt)
		if err != nil {
			return err
		}
		if erased == 0 {
			e = Erasure{PersonID: person, ErasedAt: last}
			return errNothingToDo // the turn is given back
		}
		_, n, err := rec.Base(ctx, fleet.KindErasure, person, stamp.RecordedAt)
		if err != nil && !errors.Is(err, ErrNotFound) {
			return err
		}
		e = Erasure{PersonID: person, ErasedAt: stamp.RecordedAt, Texts: erased}
		body, err := json.Marshal(e)
		if err != nil {
			return fmt.Errorf("encode erasure: %w", err)
		}
		return rec.Record(ctx, Version{
			Kind: fleet.KindErasure, ID: person, Version: n + 1, Seq: stamp.Seq, RecordedAt: stamp.RecordedAt, ValidFrom: stamp.RecordedAt,
			By: by, Body: body, BodySHA256: hexSHA256(body),
		})
	})
	if errors.Is(err, errNothingToDo) {
		return e, nil
	}
	if errors.Is(err, ErrNotFound) {
		return e, &Error{Kind: KindNotFound, Message: "nothing was written about a person with this id", Err: err}
	}
	return e, sorted(err)
}

var errNothingToDo = errors.New("nothing to do")
