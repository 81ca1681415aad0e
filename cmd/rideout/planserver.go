package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"

	"rideout/api/client"
	"rideout/openapi"
	"rideout/service/planner"
)

// posting is a plan that a service makes and keeps.
type posting struct {
	calling
	claim string
}

func (o *posting) flags(p program, flags *flag.FlagSet, f *files) {
	flags.StringVar(&o.server, "server", "", "have the service at this `address` make the plan and keep it")
	o.keyFlag(p, flags)
	flags.StringVar(&f.vesselID, "vessel-id", "", "with --server: a registered vessel by her `id`, with her gear, in place of files")
	flags.StringVar(&o.claim, "idempotency-key", "", "with --server: the `key` of an earlier try, so that no second plan is made; without one a new key is chosen")
}

// unused refuses what means nothing without a service.
func (o *posting) unused(f files) error {
	if f.vesselID != "" || o.claim != "" {
		return usageError{"plan: --vessel-id and --idempotency-key go with --server"}
	}
	return nil
}

// send has the plan made. What is wrong with it the service says, by the same rules as for files here.
func (o *posting) send(ctx context.Context, p program, f files, asJSON bool) error {
	b := body{Intent: planner.Intent(f.intent), VesselID: f.vesselID}
	forecast, err := f.read(&b)
	if err != nil {
		return err
	}
	if !isJSON(forecast) || f.run > 0 {
		return usageError{"plan: a buoy record cannot be sent, as it has no JSON form; leave --server out"}
	}
	b.Forecast = forecast
	sent, err := json.Marshal(b)
	if err != nil {
		return err
	}
	r, err := o.open(p)
	if err != nil {
		return err
	}
	var answered []byte
	made, err := watched(p.stderr, func() (planner.Plan, error) {
		var made planner.Plan
		answer, err := r.CreatePlanWithBody(ctx, &openapi.CreatePlanParams{IdempotencyKey: o.claim}, "application/json", bytes.NewReader(sent))
		if answered, err = client.Bytes(answer, err); err != nil {
			return made, err
		}
		return made, json.Unmarshal(answered, &made)
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(p.stderr, "kept as plan %s; rideout sheet --plan %s fetches its sheet\n", made.ID, made.ID)
	if asJSON {
		_, err := p.stdout.Write(append(bytes.TrimSpace(answered), '\n'))
		return err
	}
	return writePlan(p.stdout, made)
}
