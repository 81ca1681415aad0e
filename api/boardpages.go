package api

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"rideout/api/page/board"
	"rideout/api/page/figure"
	"rideout/api/page/measure"
	"rideout/api/page/sheet"
	"rideout/openapi"
	"rideout/service"
	"rideout/service/readiness"
)

const fleetPage = 50 // vessels

func (h handlers) boardFleet(c echo.Context) error {
	page := board.Fleet{Frame: h.frame(c, "fleet"), Asked: board.Asked{
		State: c.QueryParam("state"), Rule: c.QueryParam("rule"), Text: strings.TrimSpace(c.QueryParam("text")),
		ValidAt: c.QueryParam("valid_at"), KnownAt: c.QueryParam("known_at"), Days: c.QueryParam("days"),
	}}
	q := service.BoardQuery{Rule: page.Rule, Text: page.Text, Limit: fleetPage}
	if v := readiness.Verdict(page.State); slices.Contains([]readiness.Verdict{readiness.Ready, readiness.WithReservations, readiness.NotReady}, v) {
		q.Verdict = v
	}
	q.Days = daysAhead(page.Days)
	page.Ahead = q.Days
	q.AsOf, page.Wrong = asOfFields(page.ValidAt, page.KnownAt)
	if page.Wrong != nil {
		html, err := page.HTML()
		return answerPage(c, http.StatusUnprocessableEntity, html, err)
	}
	filters := page.Address()
	place := service.RecordQuery{AsOf: q.AsOf}
	cursor := c.QueryParam("cursor")
	if err := readRecordCursor(sentText(cursor), filters, &place); err != nil {
		return err
	}
	q.AsOf, q.From = place.AsOf, place.From
	overview, at, err := h.registers.Overview(c.Request().Context(), org(c.Request().Context()), q)
	if err != nil {
		return err
	}
	page.Overview, page.At = overview, at
	page.Live = page.ValidAt == "" && page.KnownAt == "" && cursor == ""
	page.Next, page.Prev = or(recordCursor(overview.Next, at, filters), ""), or(recordCursor(overview.Prev, at, filters), "")
	html, err := page.HTML()
	return answerPage(c, http.StatusOK, html, err)
}

// sentText makes a text that may be absent of one that may be empty.
func sentText(text string) *string {
	if text == "" {
		return nil
	}
	return &text
}

const mostDaysAhead = 730

// daysAhead reads for how many days what falls due is asked.
func daysAhead(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 || n > mostDaysAhead {
		return board.DefaultDays
	}
	return n
}

// asOfFields reads the two times of a form. What is wrong stands under the field's name.
func asOfFields(validAt, knownAt string) (at service.AsOf, wrong map[string]string) {
	for name, f := range map[string]struct {
		text string
		into *time.Time
	}{"valid_at": {validAt, &at.ValidAt}, "known_at": {knownAt, &at.KnownAt}} {
		var err error
		if f.text == "" {
			continue
		}
		if *f.into, err = fieldTime(f.text); err != nil {
			if wrong == nil {
				wrong = map[string]string{}
			}
			wrong[name] = "This is no time. Give a day and a time such as 2026-01-12 18:00."
		}
	}
	return at, wrong
}

// fieldTime reads a time as a form's field sends it, in UTC.
func fieldTime(text string) (t time.Time, err error) {
	text = strings.Replace(strings.TrimSpace(text), " ", "T", 1)
	for _, form := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05", time.DateOnly, time.RFC3339} {
		if t, err = time.ParseInLocation(form, text, time.UTC); err == nil {
			return t.UTC(), nil
		}
	}
	return t, err
}

func (h handlers) boardVessel(c echo.Context) error {
	id, err := pageID(c)
	if err != nil {
		return err
	}
	at, wrong := asOfFields(c.QueryParam("valid_at"), c.QueryParam("known_at"))
	if wrong != nil {
		return &service.Error{Kind: service.KindInvalid, Message: "a time in the address cannot be read"}
	}
	page := board.Vessel{Frame: h.frame(c, ""), Live: at == service.AsOf{}, Ahead: daysAhead(c.QueryParam("days"))}
	if recorded := c.QueryParam("recorded"); plainUUID(recorded) {
		page.Recorded = recorded
	}
	page.Dossier, page.At, err = h.registers.Dossier(c.Request().Context(), org(c.Request().Context()), id, at, page.Ahead)
	if err != nil {
		return err
	}
	html, err := page.HTML()
	return answerPage(c, http.StatusOK, html, err)
}

func (h handlers) boardOutcomes(c echo.Context) error {
	at, wrong := asOfFields(c.QueryParam("valid_at"), c.QueryParam("known_at"))
	if wrong != nil {
		return &service.Error{Kind: service.KindInvalid, Message: "a time in the address cannot be read"}
	}
	outcomes, at, err := h.registers.Outcomes(c.Request().Context(), org(c.Request().Context()), at)
	if err != nil {
		return err
	}
	html, err := board.Outcomes{Frame: h.frame(c, "outcomes"), Outcomes: outcomes, At: at}.HTML()
	return answerPage(c, http.StatusOK, html, err)
}

// boardSheet is the crew's sheet for who has a session instead of a key in a header.
func (h handlers) boardSheet(c echo.Context) error {
	made, err := h.boardsSheet(c)
	if err != nil {
		return err
	}
	page, err := made.HTML()
	if err != nil {
		return err
	}
	return showPage(c, "text/html; charset=utf-8", page)
}

func (h handlers) boardSheetPDF(c echo.Context) error {
	made, err := h.boardsSheet(c)
	if err != nil {
		return err
	}
	body, err := made.PDF(papers[openapi.GetPlanSheetParamsPaper(paperName(c.QueryParam("paper")))])
	if err != nil {
		return err
	}
	return showPage(c, "application/pdf", sheet.Page{Body: body})
}

func paperName(text string) string {
	if text == string(openapi.Letter) {
		return text
	}
	return string(openapi.A4)
}

func (h handlers) boardDrawing(c echo.Context) error {
	name, isSVG := strings.CutSuffix(c.Param("drawing"), ".svg")
	if !isSVG || !figure.Known(name) {
		return &service.Error{Kind: service.KindNotFound, Message: "there is no such drawing"}
	}
	made, err := h.boardsSheet(c)
	if err != nil {
		return err
	}
	page, err := sheet.Drawing(name, made.Subject)
	if err != nil {
		return err
	}
	return showPage(c, "image/svg+xml", page)
}

func (h handlers) boardsSheet(c echo.Context) (sheet.Sheet, error) {
	id, err := pageID(c)
	if err != nil {
		return sheet.Sheet{}, err
	}
	units := openapi.Metric
	if c.QueryParam("units") == string(measure.Trade) {
		units = openapi.Trade
	}
	return h.sheet(c.Request().Context(), id, &units)
}

// showPage sends a page of the sheet with the policy it brings along.
func showPage(c echo.Context, kind string, page sheet.Page) error {
	if page.Policy != "" {
		c.Response().Header().Set("Content-Security-Policy", page.Policy)
	}
	return c.Blob(http.StatusOK, kind, page.Body)
}

// boardEvents tells that something changed, and not what: the page is read again. A place is counted apart from the streams
// of the key's programs.
func (h handlers) boardEvents(c echo.Context) error {
	ctx := c.Request().Context()
	out, err := h.streams.open("board " + whose(ctx))
	if err != nil {
		return err
	}
	after, err := strconv.ParseInt(c.Request().Header.Get("Last-Event-ID"), 10, 64)
	if err != nil {
		after, err = h.events.Latest(ctx, org(ctx))
	}
	if err != nil {
		out()
		return err
	}
	return eventStream{handlers: h, ctx: ctx, close: out, after: after, quiet: true}.VisitStreamEventsResponse(c.Response())
}

// vesselPage is the address of a vessel's page on which a note was just recorded.
func vesselPage(vessel uuid.UUID, note string) string {
	return board.Root + "/vessels/" + vessel.String() + "?" + url.Values{"recorded": {note}}.Encode()
}
