package api

import (
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"rideout/service"
)

// planBody is the body of a plan as the handlers get it: decoded, and the hash of what was sent.
type planBody struct {
	order  service.PlanOrder
	sha256 string // hex
}

// sentBody is a body as it was sent.
type sentBody struct {
	sent   []byte
	sha256 string // hex
}

// binder reads bodies for the generated server in place of the framework's own, which takes unknown
// and repeated fields and turns an empty body into zeros.
type binder struct{}

func (binder) Bind(target any, c echo.Context) error {
	sent, err := readBody(c)
	if err != nil {
		return err
	}
	hash := hexSHA256(sent)
	switch body := target.(type) {
	case *sentBody:
		*body = sentBody{sent, hash}
		return nil
	case *planBody:
		body.sha256 = hash
		body.order, err = decodeOrder(sent)
		return err
	}
	return fmt.Errorf("no decoder for %T", target)
}

func readBody(c echo.Context) ([]byte, error) {
	r := c.Request()
	wanted := "application/json"
	if r.Method == http.MethodPatch {
		wanted = "application/merge-patch+json"
	}
	if err := checkMediaType(r.Header, wanted); err != nil {
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

func checkMediaType(header http.Header, wanted string) error {
	kind, parameters, err := mime.ParseMediaType(header.Get("Content-Type"))
	charset := parameters["charset"]
	switch {
	case err != nil || kind != wanted || (charset != "" && !strings.EqualFold(charset, "utf-8")):
		return &service.Error{Kind: kindMediaType, Message: "send Content-Type: " + wanted + " in UTF-8"}
	case header.Get("Content-Encoding") != "" && header.Get("Content-Encoding") != "identity":
		return &service.Error{Kind: kindMediaType, Message: "send the body without Content-Encoding"}
	}
	return nil
}
