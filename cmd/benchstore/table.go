package main

import (
	"context"
	"fmt"
	"io"

	"github.com/jackc/pgx/v5"
)

// measurement is what was found with one length of history.
type measurement struct {
	rows      int
	answers   []answer
	memory    memory
	tables    []table
	documents float64 // bytes a plan's documents take that the engine computed, as kept
}

type table struct {
	name           string
	rows           int64
	heapMB, restMB float64 // the rows; indexes and what lies beside
}

const (
	selectSizes = `
SELECT relname, n_live_tup, pg_relation_size(relid) / 1e6, (pg_total_relation_size(relid) - pg_relation_size(relid)) / 1e6
FROM pg_stat_user_tables
WHERE pg_total_relation_size(relid) > 1e6
ORDER BY pg_total_relation_size(relid) DESC`

	selectDocuments = `
SELECT avg(pg_column_size(inputs) + pg_column_size(answer) + pg_column_size(working))
FROM plans p
JOIN organisations o ON o.id = p.org_id AND o.name = '` + patternName + `'`
)

func sizes(ctx context.Context, conn *pgx.Conn) (tables []table, documents float64, err error) {
	rows, err := conn.Query(ctx, selectSizes)
	if err != nil {
		return nil, 0, err
	}
	tables, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (t table, err error) {
		return t, row.Scan(&t.name, &t.rows, &t.heapMB, &t.restMB)
	})
	if err != nil {
		return nil, 0, err
	}
	return tables, documents, conn.QueryRow(ctx, selectDocuments).Scan(&documents)
}

// hashKB is what a change takes in log_hashes, whose rows are not filled in here: two rows on average, each of 92 bytes and
// 40 in the index, by the layout of rows and B-trees in Postgres's manual.
const hashKB = 0.264

func printTable(w io.Writer, measured []measurement) {
	for _, m := range measured {
		disk := 0.0
		fmt.Fprintf(w, "\n%d vessels, one fleet of %d; %d plans\n\n%-34s %12s %12s %12s\n", vessels, largeFleet, m.rows, "table", "rows", "rows, MB", "beside, MB")
		for _, t := range m.tables {
			fmt.Fprintf(w, "%-34s %12d %12.0f %12.0f\n", t.name, t.rows, t.heapMB, t.restMB)
			disk += t.heapMB + t.restMB
		}
		fmt.Fprintf(w, "%-34s %12s %12.0f\n", "all", "", disk)
		fmt.Fprintf(w, "A plan's documents are empty here. As the engine writes them they take %.1f kB a plan, %.0f GB for so many.\n", m.documents/1e3, m.documents*float64(m.rows)/1e9)
		fmt.Fprintf(w, "So are the log's hashes: they would take %.1f GB.\n", hashKB*float64(m.rows)/1e6)
		fmt.Fprintf(w, "Memory: server %.0f MB shared and %.0f MB of its processes' own; this program %.0f MB.\n", m.memory.shared, m.memory.server, m.memory.client)
	}
	fmt.Fprintf(w, "\n%-46s", "ms")
	for _, m := range measured {
		fmt.Fprintf(w, " | %8d plans: p50   p95   p99 (of it processor: here, server)", m.rows)
	}
	if len(measured) == 2 {
		fmt.Fprintf(w, " | growth of p50, p95")
	}
	fmt.Fprintln(w)
	for i, a := range measured[0].answers {
		fmt.Fprintf(w, "%-46s", a.what)
		for _, m := range measured {
			b := m.answers[i]
			fmt.Fprintf(w, " | %20.1f %5.1f %5.1f %18.1f %11.1f  ", ms(b, 0.5), ms(b, 0.95), ms(b, 0.99), b.client.Seconds()*1e3, b.server.Seconds()*1e3)
		}
		if len(measured) == 2 {
			b := measured[1].answers[i]
			fmt.Fprintf(w, " | %12.2f %5.2f", ms(b, 0.5)/ms(a, 0.5), ms(b, 0.95)/ms(a, 0.95))
		}
		fmt.Fprintln(w)
	}
}

func ms(a answer, share float64) float64 { return a.quantile(share).Seconds() * 1e3 }
