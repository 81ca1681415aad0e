package main

import (
	"context"
	"errors"
	"io"
	"net/http"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/labstack/echo/v4"
)

// bareVerb as the first argument makes this program the bare handler.
const bareVerb = "bare"

// The bare table is of the types plans are kept in, and has its rows' names as its only key.
const makeBare = `
CREATE TABLE bare (
    id      uuid PRIMARY KEY,
    inputs  json NOT NULL,
    answer  json NOT NULL,
    working json NOT NULL
)`

const fillBare = `
INSERT INTO bare (id, inputs, answer, working)
SELECT id, inputs, answer, working
FROM plans
WHERE id = $1`

const (
	readBare   = `SELECT answer FROM bare WHERE id = $1`
	sampleBare = `SELECT inputs, answer, working FROM bare LIMIT 1`
	insertBare = `INSERT INTO bare (id, inputs, answer, working) VALUES ($1, $2, $3, $4)`
)

// serveBare serves GET and POST /bare: one statement each, and nothing around it. The arguments are address and database.
func serveBare(ctx context.Context, args []string) error {
	config, err := pgxpool.ParseConfig(args[1])
	if err != nil {
		return err
	}
	config.MaxConns = 10 // as the service's
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return err
	}
	defer pool.Close()
	packed := config.Copy()
	packed.ConnConfig.RuntimeParams["default_toast_compression"] = "lz4" // as the service asks for where there is it
	lz4, err := pgxpool.NewWithConfig(ctx, packed)
	if err != nil {
		return err
	}
	defer lz4.Close()
	var inputs, answer, working []byte
	if err := pool.QueryRow(ctx, sampleBare).Scan(&inputs, &answer, &working); err != nil {
		return err
	}
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.GET("/bare/:id", func(c echo.Context) error {
		id, err := uuid.Parse(c.Param("id"))
		if err != nil {
			return err
		}
		var body []byte
		if err := pool.QueryRow(c.Request().Context(), readBare, id).Scan(&body); err != nil {
			return err
		}
		return c.Blob(http.StatusOK, "application/json", body)
	})
	insert := func(pool *pgxpool.Pool) echo.HandlerFunc {
		return func(c echo.Context) error {
			if _, err := io.Copy(io.Discard, c.Request().Body); err != nil {
				return err
			}
			if _, err := pool.Exec(c.Request().Context(), insertBare, uuid.Must(uuid.NewV7()), inputs, answer, working); err != nil {
				return err
			}
			return c.Blob(http.StatusCreated, "application/json", answer)
		}
	}
	e.POST("/bare", insert(pool))
	e.POST("/bare/lz4", insert(lz4))
	go func() { <-ctx.Done(); _ = e.Close() }()
	if err := e.Start(args[0]); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}
