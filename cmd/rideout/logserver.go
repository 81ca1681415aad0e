package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"rideout/api/client"
	"rideout/openapi"
	"rideout/service/ledger"
)

// logServer is a service that a log is read from, in the text that is signed.
type logServer struct {
	*remote
	dir   string // where answers are kept; empty: nowhere
	files []*os.File
}

// What a page has, the most a service gives.
const (
	entriesOfAPage = 1000
	hashesOfAPage  = 2000
)

// inText asks for the text of an answer that has JSON, too.
var inText = accept("text/plain")

func (s *logServer) publicKey(ctx context.Context) (string, error) {
	text, err := client.Bytes(s.GetLogKey(ctx, inText))
	return strings.TrimSpace(string(text)), err
}

func (s *logServer) checkpoint(ctx context.Context) ([]byte, error) {
	return client.Bytes(s.GetCheckpoint(ctx, inText))
}

// entries reads the first so many. What was recorded since is left out here as of the hashes, or it would seem to be missing.
func (s *logServer) entries(ctx context.Context, size int64) (io.Reader, error) {
	return s.keeping("entries.txt", &pageReader{parameter: "after", end: size, most: entriesOfAPage, ask: func(after int64, limit int) (*http.Response, error) {
		return s.ListLogEntries(ctx, &openapi.ListLogEntriesParams{After: &after, Limit: &limit}, inText)
	}})
}

// hashes reads those of the first so many entries.
func (s *logServer) hashes(ctx context.Context, size int64) (io.Reader, error) {
	return s.keeping("hashes.txt", &pageReader{parameter: "from", end: ledger.HashCount(size), most: hashesOfAPage, ask: func(from int64, limit int) (*http.Response, error) {
		return s.ListLogHashes(ctx, &openapi.ListLogHashesParams{From: &from, Limit: &limit}, inText)
	}})
}

// keeping has what is read kept in a file, too.
func (s *logServer) keeping(name string, r io.Reader) (io.Reader, error) {
	if s.dir == "" {
		return r, nil
	}
	f, err := os.Create(filepath.Join(s.dir, name))
	if err != nil {
		return nil, err
	}
	s.files = append(s.files, f)
	return io.TeeReader(r, f), nil
}

// pageReader reads a list up to an end as one text, page by page as it is read.
type pageReader struct {
	ask       func(from int64, limit int) (*http.Response, error)
	parameter string // that a page is asked by
	most      int    // on a page
	end       int64  // how many there are to read

	next int64
	page bytes.Reader
}

func (r *pageReader) Read(p []byte) (int, error) {
	for r.page.Len() == 0 {
		if r.next >= r.end {
			return 0, io.EOF
		}
		if err := r.turn(); err != nil {
			return 0, err
		}
	}
	return r.page.Read(p)
}

// turn fetches the next page.
func (r *pageReader) turn() error {
	before := r.next
	answer, err := r.ask(before, int(min(int64(r.most), r.end-before)))
	page, err := client.Bytes(answer, err)
	if err != nil {
		return err
	}
	next, err := nextPage(answer.Header.Get("Link"), r.parameter)
	switch {
	case err != nil:
		return err
	case next == nil:
		r.next = r.end
	case *next <= before:
		return fmt.Errorf("the answer is not what the contract says: the page after %d is %d", before, *next)
	default:
		r.next = *next
	}
	r.page.Reset(page)
	return nil
}

// nextPage reads of a Link header where the next page begins; nil: there is none.
func nextPage(link, parameter string) (*int64, error) {
	target, rel, _ := strings.Cut(strings.TrimPrefix(link, "<"), ">")
	if !strings.Contains(rel, `rel="next"`) {
		return nil, nil
	}
	u, err := url.Parse(target)
	if err != nil {
		return nil, fmt.Errorf("the answer is not what the contract says: Link is %q", link)
	}
	next, err := strconv.ParseInt(u.Query().Get(parameter), 10, 64)
	if err != nil {
		return nil, fmt.Errorf("the answer is not what the contract says: Link is %q", link)
	}
	return &next, nil
}

func (s *logServer) saveIn(dir string) error {
	if s.dir = dir; dir == "" {
		return nil
	}
	return os.MkdirAll(dir, 0o755)
}

func (s *logServer) keep(name string, text []byte) error {
	if s.dir == "" {
		return nil
	}
	return os.WriteFile(filepath.Join(s.dir, name), text, 0o644)
}

func (s *logServer) close() (err error) {
	s.progress.end()
	for _, f := range s.files {
		err = errors.Join(err, f.Close())
	}
	return err
}
