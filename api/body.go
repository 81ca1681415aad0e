package api

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"rideout/service"
	"rideout/service/planner"
)

// planBody is the body of a plan as the handlers get it: decoded, and the hash of what was sent.
type planBody struct {
	request planner.Request
	sha256  string // hex
}

// binder reads bodies for the generated server in place of the framework's own, which takes unknown
// and repeated fields and turns an empty body into zeros.
type binder struct{}

func (binder) Bind(target any, c echo.Context) error {
	body, ok := target.(*planBody)
	if !ok {
		return fmt.Errorf("no decoder for %T", target)
	}
	sent, err := readBody(c)
	if err != nil {
		return err
	}
	if body.request, err = DecodePlan(sent); err != nil {
		return err
	}
	sum := sha256.Sum256(sent)
	body.sha256 = hex.EncodeToString(sum[:])
	return nil
}

func readBody(c echo.Context) ([]byte, error) {
	r := c.Request()
	if err := checkMediaType(r.Header); err != nil {
		return nil, err
	}
	sent, err := io.ReadAll(http.MaxBytesReader(c.Response(), r.Body, MaxBodyBytes))
	if tooLarge := (*http.MaxBytesError)(nil); errors.As(err, &tooLarge) {
		return nil, &service.Error{Kind: kindTooLarge, Message: fmt.Sprintf("the body is larger than %d bytes", MaxBodyBytes), Err: err}
	} else if err != nil {
		return nil, &service.Error{Kind: service.KindInvalid, Message: "the body did not arrive whole", Err: err}
	}
	return sent, nil
}

func checkMediaType(header http.Header) error {
	kind, parameters, err := mime.ParseMediaType(header.Get("Content-Type"))
	charset := parameters["charset"]
	switch {
	case err != nil || kind != "application/json" || (charset != "" && !strings.EqualFold(charset, "utf-8")):
		return &service.Error{Kind: kindMediaType, Message: "send Content-Type: application/json in UTF-8"}
	case header.Get("Content-Encoding") != "" && header.Get("Content-Encoding") != "identity":
		return &service.Error{Kind: kindMediaType, Message: "send the body without Content-Encoding"}
	}
	return nil
}
