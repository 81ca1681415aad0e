package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"rideout/service/fleet"
	"rideout/service/readiness"
)

// bookRow is a version as it is read for a fleetBook. Its texts are good until the next row.
type bookRow struct {
	seq           int64
	kind          fleet.Kind
	id            uuid.UUID
	from, known   int64
	vessel, under pgtype.UUID
	happened      time.Time // the zero time for a kind that does not happen
	gist, body    raw
	sha256        string
}

// raw is a text that is good until the next row is read.
type raw []byte

// ScanBytes implements pgtype.BytesScanner.
func (t *raw) ScanBytes(b []byte) error {
	*t = b
	return nil
}

// bytesOf lets an id be read from its bytes and not by way of its text.
func bytesOf(id *uuid.UUID) *[16]byte { return (*[16]byte)(id) }

func (r *bookRow) scan(rows pgx.Rows) error {
	var from, known time.Time
	var happened *time.Time
	err := rows.Scan(&r.seq, &r.kind, bytesOf(&r.id), &from, &known, &r.vessel, &r.under, &happened, &r.gist, &r.sha256, &r.body)
	r.from, r.known, r.happened = from.UnixMicro(), known.UnixMicro(), orZero(happened)
	return err
}

// What the rules look at in a version of each kind. What it belongs to is named by its place in the book; -1: nothing there.
type (
	vesselGist struct{ status, category, name string }
	gearGist   struct {
		vessel int
		part
	}
	inspectionGist struct {
		gear  int
		last  readiness.Inspection
		chafe *readiness.Chafe // nil: none was measured
	}
	drillGist struct {
		vessel int
		last   readiness.Drill
		counts bool
	}
	incidentGist struct {
		vessel int
		is     readiness.Incident
	}
	deploymentGist struct {
		fleet.Lying       // without its end and its wear
		gear        []int // it names
	}
	retrievalGist struct{ ended time.Time }
)

// add adds a version to the things of its kind.
func (b *fleetBook) add(r *bookRow) (err error) {
	switch r.kind {
	case fleet.KindVessel:
		var g vesselGist
		if g, err = vesselGistOf(r.gist); err == nil {
			b.vessels.add(r, g)
		}
	case fleet.KindGear:
		var p part
		if p, err = b.partOf(r); err == nil {
			b.gear.add(r, gearGist{b.vesselOf(r), p})
		}
	case fleet.KindInspection:
		var g inspectionGist
		if g, err = inspectionGistOf(r); err == nil {
			g.gear = b.gear.find(r.under.Bytes)
			b.inspections.add(r, g)
		}
	case fleet.KindDrill:
		counts := !slices.Contains(readiness.NoDrill, string(r.gist))
		b.drills.add(r, drillGist{b.vessels.find(r.under.Bytes), readiness.Drill{ID: r.id, At: r.happened}, counts})
	case fleet.KindIncident:
		var i readiness.Incident
		if i, err = incidentGistOf(r); err == nil {
			b.incidents.add(r, incidentGist{b.vesselOf(r), i})
		}
	case fleet.KindDeployment:
		err = b.addDeployment(r)
	case fleet.KindRetrieval:
		b.retrievals.add(r, retrievalGist{r.happened})
	default:
		err = fmt.Errorf("no kind the rules look at")
	}
	return err
}

func (b *fleetBook) vesselOf(r *bookRow) int {
	if !r.vessel.Valid {
		return -1
	}
	return b.vessels.find(r.vessel.Bytes)
}

var bar = []byte("|")

// tooLong stands in a gist for what is read from the body.
const tooLong = "?"

func vesselGistOf(gist raw) (g vesselGist, err error) {
	status, rest, _ := strings.Cut(string(gist), "|")
	category, name, whole := strings.Cut(rest, "|")
	if !whole {
		return g, fmt.Errorf("it has not three words")
	}
	return vesselGist{status, category, name}, nil
}

// part is a piece of gear, and as it stands in an outfit.
type part struct {
	item  *fleet.GearItem
	lines []string
}

// partOf reads a piece of gear. Pieces alike share one.
func (b *fleetBook) partOf(r *bookRow) (p part, err error) {
	words := bytes.SplitN(r.gist, bar, 8)
	if len(words) != 8 {
		return p, fmt.Errorf("%d words, want 8", len(words))
	}
	if string(words[7]) == tooLong {
		p.item = &fleet.GearItem{}
		if err := json.Unmarshal(r.body, p.item); err != nil {
			return p, err
		}
		p.lines = readiness.LinesOf(*p.item)
		return p, nil
	}
	if p, known := b.parts[string(r.gist)]; known {
		return p, nil
	}
	if p, err = b.figured(string(words[0]), string(words[7])); err != nil {
		return p, err
	}
	item := *p.item
	item.Spare, item.FirstUsedOn, item.MadeOn = string(words[1]) == "true", fleet.Date(words[3]), fleet.Date(words[4])
	if item.RetiredAt, err = timeOrNone(string(words[2])); err != nil {
		return p, err
	}
	if item.StormHours, err = numberOrNone(string(words[5])); err != nil {
		return p, err
	}
	if item.FatigueShare, err = numberOrNone(string(words[6])); err != nil {
		return p, err
	}
	p.item = &item
	b.parts[string(r.gist)] = p
	return p, nil
}

// figured is a kind of gear with its figures and nothing else.
func (b *fleetBook) figured(kind, figures string) (part, error) {
	key := kind + ":" + figures
	p, known := b.figures[key]
	if known {
		return p, nil
	}
	p = part{item: &fleet.GearItem{Kind: kind}}
	if figures != "" {
		if err := json.Unmarshal([]byte(`{"`+kind+`":`+figures+`}`), p.item); err != nil {
			return p, err
		}
	}
	p.lines = readiness.LinesOf(*p.item)
	b.figures[key] = p
	return p, nil
}

func timeOrNone(text string) (*time.Time, error) {
	if text == "" {
		return nil, nil
	}
	at, err := time.Parse(time.RFC3339Nano, text)
	return &at, err
}

func numberOrNone(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	return strconv.ParseFloat(text, 64)
}

func inspectionGistOf(r *bookRow) (g inspectionGist, err error) {
	verdict, chafed, _ := strings.Cut(string(r.gist), "|")
	g.last = readiness.Inspection{ID: r.id, At: r.happened, Verdict: verdict}
	if chafed == "" {
		return g, nil
	}
	g.chafe = &readiness.Chafe{InspectionID: r.id, At: r.happened}
	g.chafe.Share, err = strconv.ParseFloat(chafed, 64)
	return g, err
}

func incidentGistOf(r *bookRow) (i readiness.Incident, err error) {
	words := strings.Split(string(r.gist), "|")
	if len(words) != 3 {
		return i, fmt.Errorf("%d words, want 3", len(words))
	}
	i.ID, i.OccurredAt, i.Severity = r.id, r.happened, words[0]
	if words[1] != "" {
		grounds := words[1] == "true"
		i.GroundsVessel = &grounds
	}
	i.ClosedAt, err = timeOrNone(words[2])
	return i, err
}

// addDeployment adds one with the gear it names, and has the wear of its plan read.
func (b *fleetBook) addDeployment(r *bookRow) error {
	plan, list, _ := bytes.Cut(r.gist, bar)
	g := deploymentGist{Lying: fleet.Lying{DeploymentID: r.id, VesselID: r.vessel.Bytes, From: r.happened}}
	if err := g.PlanID.UnmarshalText(plan); err != nil {
		return err
	}
	var named struct {
		GearIDs []uuid.UUID `json:"gear_ids"`
	}
	if string(list) == tooLong {
		if err := json.Unmarshal(r.body, &named); err != nil {
			return err
		}
	} else if len(list) > 0 {
		if err := json.Unmarshal(list, &named.GearIDs); err != nil {
			return err
		}
	}
	for _, id := range named.GearIDs {
		g.gear = append(g.gear, b.gear.find(id))
	}
	b.deployments.add(r, g)
	if _, known := b.wearOf[g.PlanID]; !known {
		b.wanted = append(b.wanted, g.PlanID)
	}
	return nil
}

func (b *fleetBook) takeWear(rows pgx.Rows) error {
	var plan uuid.UUID
	var text raw
	if err := rows.Scan(bytesOf(&plan), &text); err != nil {
		return err
	}
	wear, known := b.wears[string(text)]
	if !known {
		if err := json.Unmarshal(text, &wear); err != nil {
			return fmt.Errorf("read the wear of plan %s: %w", plan, err)
		}
		b.wears[string(text)] = wear
	}
	b.wearOf[plan] = wear
	return nil
}

// wears tells of which kinds of gear use is counted.
func wears(kind string) bool { return kind == "rode" || kind == "canopy" }
