package store

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"rideout/service"
)

const selectTexts = `
SELECT commitment, person_id, recorded_at, salt, coalesce(text, ''), erased_at
FROM personal_texts
WHERE org_id = $1 AND commitment = ANY($2)`

// Texts gives what is written about people, as service.Reader says.
func (r *reader) Texts(ctx context.Context, commitments []string) (map[string]service.PersonalText, error) {
	if len(commitments) == 0 {
		return nil, nil
	}
	rows, err := r.tx.Query(ctx, selectTexts, r.org, commitments)
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	texts, err := pgx.CollectRows(rows, scanText)
	if err != nil {
		return nil, unavailable(ctx, err)
	}
	found := make(map[string]service.PersonalText, len(texts))
	for _, t := range texts {
		found[t.Commitment] = t
	}
	return found, nil
}

func scanText(row pgx.CollectableRow) (t service.PersonalText, err error) {
	var salt []byte
	var erased *time.Time
	err = row.Scan(&t.Commitment, &t.PersonID, &t.RecordedAt, &salt, &t.Text, &erased)
	copy(t.Salt[:], salt)
	t.ErasedAt = orZero(erased)
	return t, err
}

const insertText = `
INSERT INTO personal_texts (org_id, commitment, person_id, recorded_at, salt, text)
VALUES (@org, @commitment, @person_id, @recorded_at, @salt, @text)`

// KeepText keeps what is written about a person.
func (r *recorder) KeepText(ctx context.Context, t service.PersonalText) error {
	_, err := r.tx.Exec(ctx, insertText, pgx.NamedArgs{
		"org": r.org, "commitment": t.Commitment, "person_id": t.PersonID, "recorded_at": t.RecordedAt, "salt": t.Salt[:], "text": t.Text,
	})
	if err != nil {
		return fmt.Errorf("keep text: %w", unavailable(ctx, err))
	}
	return nil
}

const (
	selectErased = `
SELECT count(*), count(text), max(erased_at)
FROM personal_texts
WHERE org_id = $1 AND person_id = $2`
	// The hash of a request that held a text would let likely texts be tried, so it goes as well. A repeat under the key is
	// then refused as another request.
	updateClaimsOfPerson = `
UPDATE idempotency_claims c
SET request_sha256 = repeat('0', 64)
FROM personal_texts t
WHERE c.org_id = @org AND t.org_id = @org AND t.person_id = @person AND c.answer IS NOT NULL
    AND position(convert_to(t.commitment, 'UTF8') IN c.answer) > 0`
	updateErased = `
UPDATE personal_texts
SET salt = NULL, text = NULL, erased_at = @at
WHERE org_id = @org AND person_id = @person AND text IS NOT NULL`
)

// Erase erases what is written about a person, as service.Recorder says. The space it took is used again, and written over, by
// and by: VACUUM FULL, and the end of backups and of the write-ahead log, are the operator's.
func (r *recorder) Erase(ctx context.Context, person uuid.UUID, at time.Time) (before time.Time, erased int, err error) {
	var rows int
	var last *time.Time
	if err := r.tx.QueryRow(ctx, selectErased, r.org, person).Scan(&rows, &erased, &last); err != nil {
		return before, 0, fmt.Errorf("erase: %w", unavailable(ctx, err))
	}
	if rows == 0 {
		return before, 0, service.ErrNotFound
	}
	if last != nil {
		before = *last
	}
	if erased == 0 {
		return before, 0, nil
	}
	args := pgx.NamedArgs{"org": r.org, "person": person, "at": at}
	for _, sql := range []string{updateClaimsOfPerson, updateErased} {
		if _, err := r.tx.Exec(ctx, sql, args); err != nil {
			return before, 0, fmt.Errorf("erase: %w", unavailable(ctx, err))
		}
	}
	return before, erased, nil
}
