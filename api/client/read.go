package client

import (
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"net/http"
)

// Bytes gives the body of an answer, or the *Error it is. It takes what a route gives:
//
//	body, err := client.Bytes(c.GetPlan(ctx, id))
func Bytes(answer *http.Response, err error) ([]byte, error) {
	if err != nil {
		return nil, err
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		return nil, fmt.Errorf("read the answer: %w", err)
	}
	if answer.StatusCode >= http.StatusMultipleChoices {
		return nil, problemOf(answer.StatusCode, answer.Header.Get("Content-Type"), body)
	}
	return body, nil
}

// Read decodes an answer into a type of the contract.
func Read[T any](answer *http.Response, err error) (T, error) {
	var into T
	body, err := Bytes(answer, err)
	if err != nil {
		return into, err
	}
	if err := json.Unmarshal(body, &into); err != nil {
		return into, fmt.Errorf("the answer is not what the contract says: %w", err)
	}
	return into, nil
}

// Items gives the items of a list, page by page, as they were sent. ask asks for the page at a cursor, which is nil for
// the first.
func Items(ask func(cursor *string) (*http.Response, error)) iter.Seq2[json.RawMessage, error] {
	return func(yield func(json.RawMessage, error) bool) {
		var cursor *string
		for {
			page, err := Read[struct {
				Items []json.RawMessage `json:"items"`
				Next  *string           `json:"next"`
			}](ask(cursor))
			if err != nil {
				yield(nil, err)
				return
			}
			for _, item := range page.Items {
				if !yield(item, nil) {
					return
				}
			}
			if cursor = page.Next; cursor == nil {
				return
			}
		}
	}
}
