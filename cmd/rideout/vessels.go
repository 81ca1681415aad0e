package main

import (
	"context"
	"fmt"
	"net/http"
	"strings"

	"github.com/google/uuid"

	"rideout/openapi"
)

// vessels lists the registered vessels.
func vessels(ctx context.Context, p program, args []string) error {
	var c calling
	var at asOf
	flags := newFlags("vessels")
	c.flags(p, flags)
	at.flags(flags)
	if err := parse(p, flags, args); err != nil {
		return err
	}
	r, err := c.open(p)
	if err != nil {
		return err
	}
	return list(r, "vessels", "NAME\tCALL SIGN\tHULL\tLENGTH\tDISPLACEMENT\tSTATUS\tID", vesselRow, func(cursor *string) (*http.Response, error) {
		return r.ListVessels(ctx, &openapi.ListVesselsParams{ValidAt: at.valid, KnownAt: at.known, Limit: pages, Cursor: cursor})
	})
}

func vesselRow(v openapi.VesselRecord) string {
	status := "in service"
	if v.Status != nil {
		status = spaced(string(*v.Status))
	}
	var id uuid.UUID
	if v.Id != nil {
		id = *v.Id
	}
	return strings.Join([]string{v.Name, orDash(v.CallSign), spaced(string(v.Hull)), figure(v.LoaM) + " m", fmt.Sprintf("%.1f t", v.DisplacementKg/1e3), status, id.String()}, "\t")
}

func orDash(text *string) string {
	if text == nil || *text == "" {
		return "-"
	}
	return *text
}
