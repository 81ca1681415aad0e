package api

import (
	"context"
	"mime"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"rideout/service"
)

type acceptKey struct{}

// keepAccept tells what lies within which media types the caller takes: the contract leaves Accept out of the
// parameters (OpenAPI 3.1, 4.8.12.1).
func keepAccept(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), acceptKey{}, r.Header.Values("Accept"))))
		return next(c)
	}
}

// chosen gives the media type to answer with: of those offered the one the caller weighs most, of equals the first.
func chosen(ctx context.Context, offered ...string) (string, error) {
	fields, _ := ctx.Value(acceptKey{}).([]string)
	accept := strings.Join(fields, ",")
	if strings.TrimSpace(accept) == "" {
		return offered[0], nil
	}
	best, most := "", 0.0
	for _, kind := range offered {
		if q := weightOf(accept, kind); q > most {
			best, most = kind, q
		}
	}
	if best == "" {
		return "", &service.Error{Kind: kindNotAcceptable, Message: "Accept asks for none of " + strings.Join(offered, ", ")}
	}
	return best, nil
}

// weightOf is the weight of a media type by the range of Accept that names it most closely (RFC 9110, 12.5.1). A
// range that cannot be read is passed over.
func weightOf(accept, kind string) float64 {
	family, _, _ := strings.Cut(kind, "/")
	closest := map[string]int{"*/*": 1, family + "/*": 2, kind: 3}
	weight, by := 0.0, 0
	for part := range strings.SplitSeq(accept, ",") {
		named, parameters, err := mime.ParseMediaType(part)
		if err != nil || closest[named] <= by {
			continue
		}
		q := 1.0
		if text, ok := parameters["q"]; ok {
			if q, err = strconv.ParseFloat(text, 64); err != nil || q < 0 || q > 1 {
				continue
			}
		}
		weight, by = q, closest[named]
	}
	return weight
}

// varied marks an answer that depends on Accept.
func varied(d document) document {
	d.header["Vary"] = "Accept"
	return d
}
