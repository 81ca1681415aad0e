package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// logServer is a service that a log is read from.
type logServer struct {
	base, key string
	dir       string // where answers are kept; empty: nowhere
	files     []*os.File
}

// logClient waits for no page for ever.
var logClient = &http.Client{Timeout: time.Minute}

const (
	mostAnswer  = 8 << 20 // bytes of a page
	mostRetries = 5
)

// get asks for one answer, and again where the service says when.
func (s *logServer) get(ctx context.Context, path string) (body []byte, next string, err error) {
	for try := 0; ; try++ {
		request, err := http.NewRequestWithContext(ctx, http.MethodGet, s.base+path, nil)
		if err != nil {
			return nil, "", err
		}
		request.Header.Set("Accept", "text/plain")
		request.Header.Set("Authorization", "Bearer "+s.key)
		answer, err := logClient.Do(request)
		if err != nil {
			return nil, "", err
		}
		body, err = io.ReadAll(io.LimitReader(answer.Body, mostAnswer))
		_ = answer.Body.Close() // it has been read
		wait, parseErr := time.ParseDuration(answer.Header.Get("Retry-After") + "s")
		switch {
		case err != nil:
			return nil, "", err
		case answer.StatusCode == http.StatusOK:
			return body, nextPage(answer.Header.Get("Link")), nil
		case parseErr != nil || try == mostRetries:
			return nil, "", fmt.Errorf("%s answers %s: %.500s", path, answer.Status, body)
		}
		select {
		case <-ctx.Done():
			return nil, "", ctx.Err()
		case <-time.After(min(wait, time.Minute)):
		}
	}
}

// nextPage reads a Link header. It keeps to the server it was given.
func nextPage(link string) string {
	target, rel, _ := strings.Cut(strings.TrimPrefix(link, "<"), ">")
	u, err := url.Parse(target)
	if err != nil || !strings.Contains(rel, `rel="next"`) {
		return ""
	}
	return u.RequestURI()
}

func (s *logServer) text(ctx context.Context, path string) (string, error) {
	if s.key == "" {
		return "", errors.New("set RIDEOUT_KEY to a key with the scope audit:read")
	}
	body, _, err := s.get(ctx, path)
	return string(body), err
}

// pages reads a list as one text, page by page as it is read.
func (s *logServer) pages(ctx context.Context, path, name string) (io.Reader, error) {
	r := &pageReader{ctx: ctx, server: s, next: path}
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

type pageReader struct {
	ctx    context.Context
	server *logServer
	next   string
	page   []byte
}

func (r *pageReader) Read(p []byte) (int, error) {
	for len(r.page) == 0 {
		if r.next == "" {
			return 0, io.EOF
		}
		page, next, err := r.server.get(r.ctx, r.next)
		if err != nil {
			return 0, err
		}
		r.page, r.next = page, next
	}
	n := copy(p, r.page)
	r.page = r.page[n:]
	return n, nil
}

func (s *logServer) saveIn(dir string) error {
	if s.dir = dir; dir == "" {
		return nil
	}
	return os.MkdirAll(dir, 0o755)
}

func (s *logServer) keep(name, text string) error {
	if s.dir == "" {
		return nil
	}
	return os.WriteFile(filepath.Join(s.dir, name), []byte(text), 0o644)
}

func (s *logServer) close() (err error) {
	for _, f := range s.files {
		err = errors.Join(err, f.Close())
	}
	return err
}
