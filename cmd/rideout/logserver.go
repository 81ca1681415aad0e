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
)

// logServer is a service that a log is read from, in the text that is signed.
type logServer struct {
	*remote
	dir   string // where answers are kept; empty: nowhere
	files []*os.File
}

// Lines of a page, the most a service gives.
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

func (s *logServer) entries(ctx context.Context) (io.Reader, error) {
	return s.keeping("entries.txt", &pageReader{parameter: "after", ask: func(after *int64) (*http.Response, error) {
		return s.ListLogEntries(ctx, &openapi.ListLogEntriesParams{After: after, Limit: ptr(entriesOfAPage)}, inText)
	}})
}

func (s *logServer) hashes(ctx context.Context) (io.Reader, error) {
	return s.keeping("hashes.txt", &pageReader{parameter: "from", ask: func(from *int64) (*http.Response, error) {
		return s.ListLogHashes(ctx, &openapi.ListLogHashesParams{From: from, Limit: ptr(hashesOfAPage)}, inText)
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

// pageReader reads a list as one text, page by page as it is read.
type pageReader struct {
	ask       func(from *int64) (*http.Response, error)
	parameter string // that a page after the first is asked by

	next  *int64
	begun bool
	page  bytes.Reader
}

func (r *pageReader) Read(p []byte) (int, error) {
	for r.page.Len() == 0 {
		if r.begun && r.next == nil {
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
	answer, err := r.ask(r.next)
	page, err := client.Bytes(answer, err)
	if err != nil {
		return err
	}
	before := r.next
	if r.next, err = nextPage(answer.Header.Get("Link"), r.parameter); err != nil {
		return err
	}
	if before != nil && r.next != nil && *r.next <= *before {
		return fmt.Errorf("the answer is not what the contract says: the page after %d is %d", *before, *r.next)
	}
	r.begun = true
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
