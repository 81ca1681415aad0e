// Package storetest gives each test a migrated database of its own.
//
// The server is, in this order: the one TEST_DATABASE_URL names; a container, when a Docker daemon
// has the image (rideout-postgres:15, built by image/build.sh, or the one RIDEOUT_TEST_CONTAINER
// names; "off" passes over it); a private Postgres. With none of them a test fails; none is skipped.
//
// A package that uses it has
//
//	func TestMain(m *testing.M) { storetest.Main(m) }
package storetest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"rideout/store"
)

// server is where databases are made.
type server struct {
	kind  string                // for people
	url   string                // of a database to give orders from; its user may create databases
	stop  func(keep bool) error // keep: leave what a failed test left, and say where
	wrong error
}

var (
	inMain atomic.Bool
	kept   atomic.Bool // a failed test's database is to be kept
	start  = sync.OnceValue(startServer)
	begun  atomic.Bool
)

// Main runs a package's tests, then stops the server they used. It is the whole of TestMain.
func Main(m *testing.M) {
	inMain.Store(true)
	code := m.Run()
	if begun.Load() {
		if err := start().stop(kept.Load()); err != nil {
			fmt.Fprintln(os.Stderr, "storetest:", err)
			code = max(code, 1)
		}
	}
	os.Exit(code)
}

// New returns a store on a fresh, migrated database.
func New(t testing.TB) *store.Store {
	t.Helper()
	return Open(t, URL(t))
}

// Open returns a store on a database, closed at the test's end.
func Open(t testing.TB, url string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), store.Config{URL: url})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

// URL returns a fresh, migrated database. It is dropped at the test's end, and kept when the test failed.
func URL(t testing.TB) string {
	t.Helper()
	return fresh(t, func(ctx context.Context, s server, name string) error { return clone(ctx, s.url, name) })
}

// Empty returns a fresh database with nothing in it, with the same end.
func Empty(t testing.TB) string {
	t.Helper()
	return fresh(t, func(ctx context.Context, s server, name string) error {
		return order(ctx, s.url, `CREATE DATABASE `+name)
	})
}

func fresh(t testing.TB, create func(context.Context, server, string) error) string {
	t.Helper()
	if !inMain.Load() {
		t.Fatal("storetest: this package has no func TestMain(m *testing.M) { storetest.Main(m) }")
	}
	begun.Store(true)
	s := start()
	if s.wrong != nil {
		t.Fatalf("storetest: no database: %v", s.wrong)
	}
	name := "rideout_test_" + token()
	if err := create(t.Context(), s, name); err != nil {
		t.Fatalf("storetest: create database: %v", err)
	}
	address, err := onDatabase(s.url, name)
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	t.Cleanup(func() {
		if t.Failed() {
			kept.Store(true)
			t.Logf("database kept: %s", address)
			return
		}
		// The test's own context has ended.
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := order(ctx, s.url, `DROP DATABASE `+name+` WITH (FORCE)`); err != nil {
			t.Errorf("storetest: drop database: %v", err)
		}
	})
	return address
}

// order runs one statement on a connection of its own.
func order(ctx context.Context, url, sql string) (err error) {
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, conn.Close(ctx)) }()
	_, err = conn.Exec(ctx, sql)
	return err
}

func onDatabase(address, name string) (string, error) {
	u, err := url.Parse(address)
	if err != nil {
		return "", err
	}
	u.Path = "/" + name
	return u.String(), nil
}

// token is lower-case letters and digits, so a name made with it needs no quotes.
func token() string {
	b := make([]byte, 8)
	_, _ = rand.Read(b) // never fails
	return fmt.Sprintf("%x", b)
}
