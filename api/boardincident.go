package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"rideout/api/page/board"
	"rideout/service"
	"rideout/service/fleet"
)

// The fields of the form, in its order. Their names are the contract's.
var incidentFields = []string{
	"occurred_at", "kind", "severity", "injured", "dead", "what_happened", "what_was_learned", "grounds_vessel", "deployment_id", "gear_ids",
}

func (h handlers) boardIncident(c echo.Context) error {
	page, err := h.incidentForm(c)
	if err != nil {
		return err
	}
	page.Token = h.newID().String()
	html, err := page.HTML()
	return answerPage(c, http.StatusOK, html, err)
}

// incidentForm is the form with nothing entered.
func (h handlers) incidentForm(c echo.Context) (board.Incident, error) {
	page := board.Incident{Frame: h.frame(c, ""), Entered: map[string]string{}, GearIDs: map[string]bool{}}
	id, err := pageID(c)
	if err != nil {
		return page, err
	}
	doc, err := contract()
	if err != nil {
		return page, err
	}
	for name, into := range map[string]*[]string{"kind": &page.Kinds, "severity": &page.Levels} {
		for _, value := range doc.Components.Schemas[schemaOf[fleet.KindIncident]].Value.Properties[name].Value.Enum {
			*into = append(*into, fmt.Sprint(value))
		}
	}
	page.Latest = h.now().UTC().Add(time.Minute).Format("2006-01-02T15:04")
	page.Dossier, _, err = h.registers.Dossier(c.Request().Context(), org(c.Request().Context()), id, service.AsOf{}, 0)
	return page, err
}

// boardNoteIncident records a note, or shows the form again with what is wrong beside each field.
func (h handlers) boardNoteIncident(c echo.Context) error {
	page, err := h.incidentForm(c)
	if err != nil {
		return err
	}
	sent := c.Request().PostForm
	page.Enter(sent)
	if !plainUUID(page.Token) {
		page.Token = h.newID().String()
	}
	body, err := incidentBody(page.ID.String(), sent)
	if err != nil {
		return err
	}
	note, err := h.noteIncident(c, page, body)
	switch known := (*service.Error)(nil); {
	case err == nil:
		return c.Redirect(http.StatusSeeOther, vesselPage(page.ID, note)+"#incident-"+note)
	case errors.Is(err, service.ErrKeyReused) || errors.As(err, &known) && known.Kind == service.KindKeyReused:
		page.Wrong = []board.WrongField{{Message: "This form has been recorded already, with other words. Her page shows the note; open a new form for another."}}
	case errors.As(err, &known) && (known.Kind == service.KindInvalid || known.Kind == service.KindNotReferable):
		page.Wrong = wrongFields(known.Fields)
	default:
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	html, err := page.HTML()
	return answerPage(c, http.StatusUnprocessableEntity, html, err)
}

// noteIncident records the note and gives its id.
func (h handlers) noteIncident(c echo.Context, page board.Incident, body []byte) (string, error) {
	ctx := c.Request().Context()
	entity, err := decodeEntity(fleet.KindIncident, body, h.now())
	if err != nil {
		return "", err
	}
	claim := service.Claim{Key: "board-" + page.Token, Route: "POST " + page.Address(), RequestSHA256: hexSHA256(body)}
	answer, _, err := h.registers.Add(ctx, org(ctx), claim, draftOf(ctx, fleet.KindIncident, nil, entity))
	if err != nil {
		return "", err
	}
	var made struct{ ID string }
	err = json.Unmarshal(answer.Body, &made)
	return made.ID, err
}

// incidentBody writes a form as the contract has a note. What is not a number is sent as the text it is, so that the contract
// says what is wrong with it.
func incidentBody(vessel string, sent url.Values) ([]byte, error) {
	members := map[string]any{"vessel_id": vessel}
	for _, name := range incidentFields {
		text := strings.TrimSpace(strings.ReplaceAll(sent.Get(name), "\r\n", "\n"))
		if text == "" {
			continue
		}
		members[name] = text
		switch name {
		case "occurred_at":
			if at, err := fieldTime(text); err == nil {
				members[name] = at.Format(time.RFC3339)
			}
		case "injured", "dead":
			if n, err := strconv.Atoi(text); err == nil {
				members[name] = n
			}
		case "grounds_vessel":
			if yes, err := strconv.ParseBool(text); err == nil {
				members[name] = yes
			}
		case "gear_ids":
			members[name] = slices.Sorted(slices.Values(sent["gear_ids"]))
		}
	}
	return json.Marshal(members)
}

// formWords says of each field what to enter, where the contract's words are for programs.
var formWords = map[string]string{
	"occurred_at": "Give a day and a time in UTC, such as 2026-01-12 18:00.", "kind": "Choose one.", "severity": "Choose one.",
	"injured": "Give a whole number from 0 to 1000, or leave it empty for none.", "dead": "Give a whole number from 0 to 1000, or leave it empty for none.",
	"what_happened": "Write what happened, in at most 4000 characters.", "what_was_learned": "Write at most 4000 characters.", "grounds_vessel": "Choose one.",
}

// ofForm tells whether a message is the contract's about the form of a value, and not the domain's about what it says.
func ofForm(message string) bool {
	return message == "is missing" || strings.Contains(message, "must be ")
}

// wrongFields puts what is wrong in the order of the form.
func wrongFields(fields []service.FieldError) []board.WrongField {
	var wrong []board.WrongField
	for _, f := range fields {
		name := section(f.Pointer)
		w := board.WrongField{Message: sentenceOf(f.Message) + " " + sentenceOf(f.Fix)}
		if slices.Contains(incidentFields, name) {
			w.Field = name
		}
		if words := formWords[name]; words != "" && ofForm(f.Message) {
			w.Message = words
		}
		wrong = append(wrong, w)
	}
	slices.SortStableFunc(wrong, func(a, b board.WrongField) int {
		return slices.Index(incidentFields, a.Field) - slices.Index(incidentFields, b.Field)
	})
	return wrong
}

// sentenceOf makes a sentence of a message.
func sentenceOf(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + strings.TrimSuffix(text[1:], ".") + "."
}
