package api

import (
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/labstack/echo/v4"

	"rideout/openapi"
	"rideout/service"
)

// checkParameters holds the parameters and headers of a request against the contract. All wrong
// ones are named at once; a parameter the contract does not name is wrong.
func checkParameters(doc *openapi3.T, method, path string) (echo.MiddlewareFunc, error) {
	item, op, err := operation(doc, method, path)
	if err != nil {
		return nil, err
	}
	route := &routers.Route{Spec: doc, Path: path, PathItem: item, Method: method, Operation: op}
	always, headers := sentAlways(item, op)
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if id := c.Param("id"); slices.Contains(c.ParamNames(), "id") && !plainUUID(id) {
				return &service.Error{Kind: service.KindNotFound, Message: "there is nothing with this id; an id is a UUID"}
			}
			query, fields := readQuery(c.Request(), op)
			if always || len(query) > 0 || sendsOne(c.Request().Header, headers) { // else there is nothing to hold against the contract
				fields = append(fields, wrongParameters(c, route, query)...)
			}
			fields = append(fields, sentKey(c.Request().Header)...)
			if len(fields) > 0 {
				return &parameterError{fields}
			}
			return next(c)
		}
	}, nil
}

// sentAlways tells whether each request has parameters besides its id, or must have; and which headers it may have.
func sentAlways(item *openapi3.PathItem, op *openapi3.Operation) (always bool, headers []string) {
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		switch p := p.Value; {
		case p.In == openapi3.ParameterInPath:
			always = always || p.Name != "id"
		case p.In == openapi3.ParameterInHeader:
			headers = append(headers, p.Name)
			fallthrough
		default:
			always = always || p.Required
		}
	}
	return always, headers
}

func sendsOne(header http.Header, names []string) bool {
	return slices.ContainsFunc(names, func(name string) bool { return len(header.Values(name)) > 0 })
}

// readQuery reads the query and names parameters that are unknown or given twice.
func readQuery(r *http.Request, op *openapi3.Operation) (url.Values, []openapi.FieldProblem) {
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		name := "query"
		return nil, []openapi.FieldProblem{{Parameter: &name, Message: "the query cannot be read", Fix: "percent-encode it"}}
	}
	var known []string
	for _, p := range op.Parameters {
		if p.Value.In == openapi3.ParameterInQuery {
			known = append(known, p.Value.Name)
		}
	}
	var fields []openapi.FieldProblem
	for _, name := range slices.Sorted(maps.Keys(query)) {
		switch {
		case !slices.Contains(known, name):
			fix := "leave it out; this route takes none"
			if len(known) > 0 {
				fix = "leave it out; known are " + strings.Join(known, ", ")
			}
			fields = append(fields, openapi.FieldProblem{Parameter: &name, Message: "is not a known parameter", Fix: fix})
		case !utf8.ValidString(query.Get(name)):
			fields = append(fields, openapi.FieldProblem{Parameter: &name, Message: "is not valid UTF-8", Fix: "percent-encode it as UTF-8"})
		case len(query[name]) > 1:
			fields = append(fields, openapi.FieldProblem{Parameter: &name, Message: "is given twice", Fix: "send it once"})
		}
	}
	return query, fields
}

// wrongParameters names the parameters and headers whose values the contract does not allow.
func wrongParameters(c echo.Context, route *routers.Route, query url.Values) []openapi.FieldProblem {
	paths := map[string]string{}
	for i, name := range c.ParamNames() {
		paths[name] = c.ParamValues()[i]
	}
	err := openapi3filter.ValidateRequest(c.Request().Context(), &openapi3filter.RequestValidationInput{
		Request: c.Request(), PathParams: paths, QueryParams: query, Route: route,
		Options: &openapi3filter.Options{
			MultiError: true, ExcludeRequestBody: true, SkipSettingDefaults: true,
			AuthenticationFunc: openapi3filter.NoopAuthenticationFunc, SchemaValidationOptions: schemaOptions,
		},
	})
	var all openapi3.MultiError
	if !errors.As(err, &all) {
		return nil
	}
	var fields []openapi.FieldProblem
	for _, one := range all {
		if wrong := (*openapi3filter.RequestError)(nil); errors.As(one, &wrong) && wrong.Parameter != nil {
			fields = append(fields, parameterProblem(wrong))
		}
	}
	return fields
}

// sentKey finds a key of ours where something is sent that is kept as it is.
func sentKey(header http.Header) []openapi.FieldProblem {
	name := "Idempotency-Key"
	if _, err := service.ParseKey(header.Get(name)); err != nil {
		return nil
	}
	return []openapi.FieldProblem{{Header: &name, Message: "is a key of ours, and would be kept as it is", Fix: "send a UUID; and revoke the key that was sent here"}}
}

func parameterProblem(wrong *openapi3filter.RequestError) openapi.FieldProblem {
	p, expected := wrong.Parameter, expectation(wrong.Parameter.Schema.Value)
	problem := openapi.FieldProblem{Message: "must be " + expected, Fix: "send " + expected}
	if errors.Is(wrong.Err, openapi3filter.ErrInvalidRequired) {
		problem.Message = "is missing"
	}
	if p.In == openapi3.ParameterInHeader {
		problem.Header = &p.Name
	} else {
		problem.Parameter = &p.Name
	}
	return problem
}

// plainUUID tells whether a text is a UUID in its usual form of 36 characters.
func plainUUID(text string) bool {
	if len(text) != 36 {
		return false
	}
	for i, r := range text {
		switch i {
		case 8, 13, 18, 23:
			if r != '-' {
				return false
			}
		default:
			if !strings.ContainsRune("0123456789abcdefABCDEF", r) {
				return false
			}
		}
	}
	return true
}
