package storetest

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"sync"

	"github.com/jackc/pgx/v5"

	"rideout/migrations"
	"rideout/store"
)

// templateLock lets one process at a time make the template on a server.
const templateLock = 0x74656d706c617465 // "template" in ASCII

// clone makes a database as a copy of the template, which is made first where there is none.
func clone(ctx context.Context, url, name string) error {
	source, err := template(url)
	if err != nil {
		return err
	}
	return order(ctx, url, `CREATE DATABASE `+name+` TEMPLATE `+source)
}

var made sync.Map // server's URL to what makes its template, once

// template returns the name of a migrated database nobody connects to. The name holds the hash of
// the migrations, so changed ones make a new template.
func template(url string) (string, error) {
	once, _ := made.LoadOrStore(url, sync.OnceValues(func() (string, error) {
		name, err := makeTemplate(context.Background(), url)
		if err != nil {
			return "", fmt.Errorf("template: %w", err)
		}
		return name, nil
	}))
	return once.(func() (string, error))()
}

func makeTemplate(ctx context.Context, url string) (name string, err error) {
	hash, err := migrationsHash()
	if err != nil {
		return "", err
	}
	name = "rideout_template_" + hash
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return "", err
	}
	defer func() { err = errors.Join(err, conn.Close(ctx)) }() // which frees the lock
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, templateLock); err != nil {
		return "", err
	}
	var there bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, name).Scan(&there); err != nil || there {
		return name, err
	}
	// It gets its name when it is whole: a run that was killed leaves no half of a template.
	unfinished := name + "_unfinished"
	for _, sql := range []string{`DROP DATABASE IF EXISTS ` + unfinished + ` WITH (FORCE)`, `CREATE DATABASE ` + unfinished} {
		if _, err := conn.Exec(ctx, sql); err != nil {
			return "", err
		}
	}
	address, err := onDatabase(url, unfinished)
	if err != nil {
		return "", err
	}
	if err := store.Migrate(ctx, address); err != nil {
		return "", err
	}
	_, err = conn.Exec(ctx, `ALTER DATABASE `+unfinished+` RENAME TO `+name)
	return name, err
}

func migrationsHash() (string, error) {
	hash := sha256.New()
	files, err := fs.Glob(migrations.FS, "*.sql") // in order of their names
	if err != nil {
		return "", err
	}
	for _, file := range files {
		text, err := fs.ReadFile(migrations.FS, file)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(hash, "%s %d\n%s", file, len(text), text)
	}
	return fmt.Sprintf("%x", hash.Sum(nil))[:16], nil
}
