package page

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// sample is what an operation's example sends where the contract does not say it. Every example is run by a test, as it is
// printed, against the handler itself.
type sample struct {
	body  string   // in single quotes for a shell, so '$VESSEL' steps out of them; empty: the contract's example
	keeps string   // the variable that holds the id of what was made; empty: what it is, in capitals
	query []string // name, value
	flags []string
	id    string // in the path, where no other example makes one
}

// somebody is a person written about in one example and erased in another.
const somebody = "01945d2c-7c00-7000-8000-0000000000f1"

// samples by operation. The times lie before the demo's storm, which is also when the test's clock stands.
var samples = map[string]sample{
	"calculate":           {body: "@plan.json"},
	"createPlan":          {keeps: "NEWER", body: `{"vessel_id": "'$VESSEL'", "intent": "ride_out_storm", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}, "forecast": {"issued_at": "2026-01-12T12:00:00Z", "source": "radio", "steps": [{"time": "2026-01-12T18:00:00Z", "wind_speed_kt": 40, "significant_wave_height_m": 5.5, "peak_period_s": 10}, {"time": "2026-01-13T18:00:00Z", "wind_speed_kt": 25, "significant_wave_height_m": 4, "peak_period_s": 10}]}}`},
	"listPlans":           {query: []string{"vessel_id", "$VESSEL", "limit", "10"}},
	"getPlanSheet":        {query: []string{"paper", "a4"}, flags: []string{`-H "Accept: application/pdf"`, "-o sheet.pdf"}},
	"getPlanDrawing":      {flags: []string{"-o rig.svg"}},
	"getPlanChanges":      {query: []string{"from", "$PLAN"}},
	"getStormPlan":        {flags: []string{"--compressed", `-H "Accept: text/plain"`}},
	"getWhereabouts":      {query: []string{"at", "2026-01-13T06:00:00Z"}},
	"registerVessel":      {body: `{"name": "Vestvik Lapwing", "hull": "sail_monohull", "loa_m": 9.4, "beam_m": 3.1, "draught_m": 1.6, "displacement_kg": 4600, "home_port": "Vestvik"}`, keeps: "LAPWING"},
	"changeVessel":        {body: `{"home_port": "Hamna"}`},
	"registerGear":        {body: `{"kind": "rode", "name": "storm rode", "first_used_on": "2024-01-12", "place": "bow locker", "rode": {"construction": "three_strand", "diameter_mm": 22, "length_m": 183, "terminations": ["thimbled_splice"]}}`},
	"changeGear":          {body: `{"place": "foredeck"}`},
	"recordInspection":    {body: `{"inspected_at": "2026-01-10T09:00:00Z", "inspector": "mate", "findings": "glazed at the thimble", "chafed_share": 0.05, "verdict": "watch"}`},
	"changeInspection":    {body: `{"verdict": "repair"}`},
	"recordDrill":         {body: `{"held_at": "2026-01-03T10:00:00Z", "kind": "deployment", "crew_count": 4, "duration_min": 40, "persons": [{"person_id": "` + somebody + `", "role": "crew", "text": "A. Holm"}]}`},
	"erasePerson":         {id: somebody},
	"createKey":           {body: `{"label": "booking system", "scopes": ["plans:read"]}`, keeps: "KEY"},
	"rotateKey":           {body: `{}`, keeps: "NEW_KEY"},
	"createWebhook":       {body: `{"url": "https://office.example/rideout"}`},
	"changeWebhook":       {body: `{"state": "paused"}`},
	"replayWebhook":       {body: `{"after": 1}`},
	"rotateWebhookSecret": {body: `{}`},
	"openEmergencyAccess": {body: `{"mmsi": "231000005", "reason": "red flares sighted off Skarv"}`},
	"getLentWhereabouts":  {query: []string{"at", "2026-01-13T06:00:00Z"}},
	"getInclusionProof":   {query: []string{"seq", "1"}},
	"getConsistencyProof": {query: []string{"from", "1"}},
	"changeDrill":         {body: `{"crew_count": 5}`},
	"putPolicy":           {body: `{"drill_every_months": 12}`},
	"recordDeployment":    {body: `{"deployed_at": "2026-01-11T20:00:00Z", "position": {"latitude_deg": 61.2, "longitude_deg": -6.4}, "rode_out_m": 150, "canopy": {"shape": "flat_circular", "diameter_m": 5.5}}`},
	"changeDeployment":    {body: `{"rode_out_m": 160}`},
	"recordObservation":   {body: `{"observed_at": "2026-01-11T22:00:00Z", "load_n": 9000, "heading_deg": 250}`},
	"changeObservation":   {body: `{"load_n": 9500}`},
	"putRetrieval":        {body: `{"begun_at": "2026-01-12T08:00:00Z", "ended_at": "2026-01-12T08:40:00Z", "method": "trip_line", "trip_line_used": true, "damage": "one panel torn"}`},
	"recordIncident":      {body: `{"occurred_at": "2026-01-11T23:00:00Z", "kind": "rode_chafed", "severity": "minor", "vessel_id": "'$VESSEL'", "what_happened": "It chafed at the fairlead.", "what_was_learned": "Chafe gear first."}`},
	"changeIncident":      {body: `{"closed_at": "2026-01-12T09:00:00Z", "closed_how": "rode end cropped and spliced anew"}`},
	"listReadiness":       {query: []string{"verdict", "not_ready"}},
	"getVesselReadiness":  {query: []string{"valid_at", "2026-01-12T12:00:00Z", "from", "2026-06-01T12:00:00Z", "to", "2026-06-08T12:00:00Z", "wind_speed_kt", "18", "significant_wave_height_m", "2.1"}},
	"listEvents":          {query: []string{"limit", "20"}},
	"streamEvents":        {query: []string{"after", "0"}, flags: []string{"-N", "--max-time 5"}},
	"getContract":         {flags: []string{"-o openapi.json"}},
	"getDocs":             {flags: []string{"-o docs.html"}},
	"getGuide":            {flags: []string{"-o guide.html"}},
	"listIncidents":       {query: []string{"vessel_id", "$VESSEL"}},
	"getVessel":           {query: []string{"valid_at", "2026-01-12T00:00:00Z"}},
}

var pathParameter = regexp.MustCompile(`([a-z_-]+)/\{([a-z_]+)\}`)

// sampleOf completes the sample of an operation from the contract.
func sampleOf(method, path string, op *openapi3.Operation) sample {
	s := samples[op.OperationID]
	if op.RequestBody == nil {
		return s
	}
	for _, media := range op.RequestBody.Value.Content {
		if s.body == "" && media.Schema != nil && media.Schema.Value.Example != nil {
			if text, err := json.Marshal(media.Schema.Value.Example); err == nil {
				s.body = strings.ReplaceAll(string(text), "'", `'\''`)
			}
		}
	}
	if s.keeps == "" && method == http.MethodPost && op.Responses.Value("201") != nil {
		s.keeps = variableOf(path[strings.LastIndexByte(path, '/')+1:])
	}
	return s
}

// variableOf names the variable for the id of a thing of a list: VESSEL of vessels.
func variableOf(list string) string {
	if !strings.HasSuffix(list, "ss") {
		list = strings.TrimSuffix(list, "s")
	}
	return strings.ToUpper(strings.ReplaceAll(list, "-", "_"))
}

// example writes the call of an operation as a shell runs it. A call that sends something and has nothing to send is not
// written: it could not be run.
func example(method, path string, item *openapi3.PathItem, op *openapi3.Operation) string {
	s := sampleOf(method, path, op)
	if op.RequestBody != nil && s.body == "" {
		return ""
	}
	lines := []string{"curl -sS"}
	if method != http.MethodGet && method != http.MethodPost {
		lines[0] += " -X " + method
	}
	if op.Security == nil {
		lines = append(lines, `-H "Authorization: Bearer $RIDEOUT_KEY"`)
	}
	for _, p := range slices.Concat(item.Parameters, op.Parameters) {
		switch p.Value.Name {
		case "Idempotency-Key":
			lines = append(lines, `-H "Idempotency-Key: docs-`+op.OperationID+`"`)
		case "If-Match":
			if op.OperationID != "putRetrieval" { // its example is the first
				lines = append(lines, `-H "If-Match: *"`)
			}
		}
	}
	lines = append(lines, s.flags...)
	if op.RequestBody != nil {
		for kind := range op.RequestBody.Value.Content {
			lines = append(lines, `-H "Content-Type: `+kind+`"`)
		}
		if strings.HasPrefix(s.body, "@") {
			lines = append(lines, "--data-binary "+s.body)
		} else {
			lines = append(lines, "-d '"+s.body+"'")
		}
	}
	last := ""
	if s.keeps != "" {
		file := strings.ToLower(s.keeps) + ".json"
		lines = append(lines, "-o "+file)
		last = fmt.Sprintf("\n%s=$(jq -r .id %s)", s.keeps, file)
	}
	return strings.Join(append(lines, `"$RIDEOUT_URL`+exampleAddress(path, item, op, s)+`"`), " \\\n  ") + last
}

// exampleAddress puts variables into a path: $VESSEL for /v1/vessels/{id}.
func exampleAddress(path string, item *openapi3.PathItem, op *openapi3.Operation, s sample) string {
	path = pathParameter.ReplaceAllStringFunc(path, func(found string) string {
		part := pathParameter.FindStringSubmatch(found)
		name := "$" + variableOf(part[1])
		if s.id != "" {
			name = s.id
		} else if part[2] != "id" {
			name = fmt.Sprint(pathExample(item, part[2]))
		}
		if op.OperationID == "getPlanChanges" {
			name = "$NEWER"
		}
		return part[1] + "/" + name
	})
	for i := 0; i+1 < len(s.query); i += 2 {
		value := s.query[i+1]
		if !strings.HasPrefix(value, "$") {
			value = url.QueryEscape(value)
		}
		path += string("?&"[min(i, 1)]) + s.query[i] + "=" + value
	}
	return path
}

func pathExample(item *openapi3.PathItem, name string) any {
	for _, p := range item.Parameters {
		if p.Value.Name == name {
			return p.Value.Example
		}
	}
	return ""
}

var shellVariable = regexp.MustCompile(`\$([A-Z_]+)`)

// needs names the variables an example takes from other examples.
func needs(text string) []string {
	var names []string
	for _, found := range shellVariable.FindAllStringSubmatch(text, -1) {
		if name := found[1]; name != "PLAN" && name != "VESSEL" && !strings.HasPrefix(name, "RIDEOUT_") && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// makers gives for each variable the operation whose example sets it.
func makers(doc *openapi3.T) map[string]string {
	made := map[string]string{}
	for path, item := range doc.Paths.Map() {
		if op := item.Post; op != nil {
			made[sampleOf(http.MethodPost, path, op).keeps] = op.OperationID
		}
	}
	return made
}
