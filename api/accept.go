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

// rememberAccept tells what lies within which media types the caller takes.
func rememberAccept(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), acceptKey{}, strings.Join(r.Header.Values("Accept"), ","))))
		return next(c)
	}
}

// preferred gives the media type, of those offered, that the caller likes best (RFC 9110, 12.5.1); of equals,
// and where none is acceptable, the first.
func preferred(ctx context.Context, offers ...string) string {
	accept, _ := ctx.Value(acceptKey{}).(string)
	best, most := offers[0], 0.0
	for _, offer := range offers {
		if q := quality(accept, offer); q > most {
			best, most = offer, q
		}
	}
	return best
}

// chosen is preferred, but refuses where the caller asks for none of the forms.
func chosen(ctx context.Context, offers ...string) (string, error) {
	kind := preferred(ctx, offers...)
	accept, _ := ctx.Value(acceptKey{}).(string)
	if strings.TrimSpace(accept) != "" && quality(accept, kind) == 0 {
		return "", &service.Error{Kind: kindNotAcceptable, Message: "Accept asks for none of " + strings.Join(offers, ", ")}
	}
	return kind, nil
}

// quality is how much an Accept field likes a media type: the weight of the most specific range that holds it.
func quality(accept, offer string) float64 {
	kind, _, _ := strings.Cut(offer, "/")
	weight, specific := 0.0, -1
	for part := range strings.SplitSeq(accept, ",") {
		name, params, err := mime.ParseMediaType(part)
		if err != nil {
			continue
		}
		rank := -1
		switch name {
		case offer:
			rank = 2
		case kind + "/*":
			rank = 1
		case "*/*":
			rank = 0
		}
		if rank <= specific {
			continue
		}
		weight, specific = 1, rank
		if q, err := strconv.ParseFloat(params["q"], 64); err == nil {
			weight = q
		}
	}
	return weight
}
