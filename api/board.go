package api

import (
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"rideout/api/page/board"
	"rideout/service"
	"rideout/service/planner"
)

// pages lists the pages for people. They are no part of the contract: no program is promised anything of them. Each asks the
// scope of what it shows or does, by the session of who signed in with a key; without a scope it is open to all.
func (a *API) pages() []Route {
	h := handlers{a}
	return []Route{
		{http.MethodGet, "/board/sign-in", open, h.boardSignIn},
		{http.MethodPost, "/board/sign-in", open, h.boardEnter},
		{http.MethodPost, "/board/sign-out", open, h.boardLeave},
		{http.MethodGet, "/board/board.css", open, file("text/css; charset=utf-8", board.Style())},
		{http.MethodGet, "/board/board.js", open, file("text/javascript; charset=utf-8", board.Script())},
		{http.MethodGet, "/board/mark.svg", open, file("image/svg+xml", board.Icon())},
		{http.MethodGet, "/board/*", open, noPage},

		{http.MethodGet, "/board", "plans:read", h.boardFleet},
		{http.MethodGet, "/board/events", "plans:read", live(h.boardEvents)},
		{http.MethodGet, "/board/outcomes", "plans:read", h.boardOutcomes},
		{http.MethodGet, "/board/vessels/{id}", "plans:read", h.boardVessel},
		{http.MethodGet, "/board/vessels/{id}/incident", "incidents:write", h.boardIncident},
		{http.MethodPost, "/board/vessels/{id}/incident", "incidents:write", h.boardNoteIncident},
		{http.MethodGet, "/board/plans/{id}/sheet", "plans:read", h.boardSheet},
		{http.MethodGet, "/board/plans/{id}/sheet.pdf", "plans:read", h.boardSheetPDF},
		{http.MethodGet, "/board/plans/{id}/drawings/{drawing}", "plans:read", h.boardDrawing},
	}
}

// mostFormBytes is more than a form with every field full.
const mostFormBytes = 64 << 10

// foreign refuses what another origin's page sends, by what browsers say of it.
var foreign = http.NewCrossOriginProtection()

// paged is round every page: its headers, the guard of its forms, and errors as a page.
func (a *API) paged(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		header := c.Response().Header()
		header.Set("Content-Security-Policy", board.Policy)
		// With no-referrer a browser would send no origin with our forms, by which they are told from foreign ones.
		header.Set("Referrer-Policy", "same-origin")
		header.Set("Cache-Control", "private, no-cache")
		header.Add("Vary", "Cookie")
		err := a.guarded(c, next)
		if err == nil || clientGone(c.Request().Context(), err) {
			return err
		}
		c.Set(failureKey, err)
		return a.troublePage(c, err)
	}
}

// errForgedForm says that a form was not one of ours. The contract has no code for it, because no program sends forms.
var errForgedForm = errors.New("the form is not one of this page's, or too old; go back, read the page anew and send it again")

func (a *API) guarded(c echo.Context, next echo.HandlerFunc) error {
	r := c.Request()
	if isRead(r) {
		return calm(next, c)
	}
	if foreign.Check(r) != nil {
		return errForgedForm
	}
	r.Body = http.MaxBytesReader(c.Response(), r.Body, mostFormBytes)
	if err := r.ParseForm(); err != nil {
		return &service.Error{Kind: kindTooLarge, Message: "the form cannot be read, or is longer than 64 kB", Err: err}
	}
	token := r.PostForm.Get("form_token")
	for _, cookie := range []string{sessionCookie, formCookie} {
		if a.sessions.formIsOurs(a.sessions.read(r, cookie), token) {
			return calm(next, c)
		}
	}
	return errForgedForm
}

// signedIn lets a request pass that has a session whose key is known, and tells its organisation to what lies within. A
// reader without one is sent to sign in; a form is not, because it would be lost.
func (a *API) signedIn(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		r := c.Request()
		known, err := a.callerBySession(r)
		if err == nil {
			c.SetRequest(r.WithContext(context.WithValue(r.Context(), callerKey{}, known)))
			return next(c)
		}
		switch {
		case errors.Is(err, service.ErrUnavailable):
			return &service.Error{Kind: service.KindUnavailable, Message: "keys cannot be looked up", Err: err}
		case !errors.Is(err, errNoSession) && !errors.Is(err, service.ErrNotFound) && !errors.Is(err, errExpired):
			return err
		case !isRead(r) || strings.HasSuffix(r.URL.Path, "/events"):
			return unauthenticated("nobody is signed in any more; sign in, then send the form again")
		}
		c.Response().Header().Set("Cache-Control", "no-store")
		return c.Redirect(http.StatusSeeOther, board.Root+"/sign-in?"+url.Values{"next": {r.URL.RequestURI()}}.Encode())
	}
}

// callerBySession gives who signed in. It returns errNoSession for a session that is none, is too old or was ended, and what
// the keyring says of its key.
func (a *API) callerBySession(r *http.Request) (caller, error) {
	of, err := a.sessions.open(a.sessions.read(r, sessionCookie))
	if err != nil {
		return caller{}, err
	}
	id, record, err := a.keyring.holder(r.Context(), of.Hash, of.Name)
	if err != nil {
		return caller{}, err
	}
	ended, err := a.ended.SessionEnded(r.Context(), id, of.ID)
	if err == nil && ended {
		err = errNoSession
	}
	return caller{org: id, by: of.Name, scopes: record.Scopes, hash: of.Hash, session: of.ID}, err
}

// frame is what is round a page of who signed in.
func (a *API) frame(c echo.Context, here string) board.Frame {
	return board.Frame{
		Key: by(c.Request().Context()), FormToken: a.sessions.formToken(a.sessions.read(c.Request(), sessionCookie)),
		Cautions: planner.Cautions, Here: here,
	}
}

// answerPage sends a page.
func answerPage(c echo.Context, status int, html []byte, err error) error {
	if err != nil {
		return err
	}
	return c.Blob(status, "text/html; charset=utf-8", html)
}

// troublePage answers an error as a page. What a client learns of it is what a problem document says.
func (a *API) troublePage(c echo.Context, err error) error {
	p := problemOf(err)
	if errors.Is(err, errForgedForm) {
		p.Status, p.Title, p.Detail = http.StatusForbidden, "The form was refused", errForgedForm.Error()
	}
	sayHowToComeBack(c.Response().Header(), p, err)
	page := board.Trouble{Frame: board.Frame{Cautions: planner.Cautions}, Status: p.Status, Title: p.Title, Detail: p.Detail, RequestID: requestID(c)}
	if by(c.Request().Context()) != "" {
		page.Frame = a.frame(c, "")
	}
	for _, f := range p.Errors {
		page.Fixes = append(page.Fixes, f.Message+": "+f.Fix)
	}
	html, err := page.HTML()
	return answerPage(c, p.Status, html, err)
}

func (h handlers) boardSignIn(c echo.Context) error { return h.signInPage(c, http.StatusOK, "") }

// signInPage gives whoever comes a cookie, so that the form can carry its token.
func (h handlers) signInPage(c echo.Context, status int, wrong string) error {
	cookie := h.sessions.read(c.Request(), formCookie)
	if cookie == "" {
		cookie = rand.Text()
		h.sessions.put(c.Response(), c.Request(), formCookie, cookie)
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	page := board.SignIn{
		Frame: board.Frame{FormToken: h.sessions.formToken(cookie), Cautions: planner.Cautions},
		Next:  localPage(c.FormValue("next")), Wrong: wrong,
	}
	html, err := page.HTML()
	return answerPage(c, status, html, err)
}

// localPage gives an address of ours to go on to; of any other, the board.
func localPage(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.IsAbs() || u.Host != "" || u.Path != board.Root && !strings.HasPrefix(u.Path, board.Root+"/") {
		return board.Root
	}
	return u.RequestURI()
}

// boardEnter takes a key and answers with a session.
func (h handlers) boardEnter(c echo.Context) error {
	r := c.Request()
	key, err := service.ParseKey(strings.TrimSpace(r.PostForm.Get("key")))
	if err != nil {
		return h.signInPage(c, http.StatusUnprocessableEntity, "The key is mistyped or cut: its form or checksum is wrong.")
	}
	switch _, _, err = h.keyring.holder(r.Context(), key.Hash(), key.Name()); {
	case errors.Is(err, service.ErrNotFound):
		return h.signInPage(c, http.StatusForbidden, "The key is unknown or revoked.")
	case errors.Is(err, errExpired):
		return h.signInPage(c, http.StatusForbidden, "The key has expired.")
	case errors.Is(err, service.ErrUnavailable):
		return &service.Error{Kind: service.KindUnavailable, Message: "keys cannot be looked up", Err: err}
	case err != nil:
		return err
	}
	if err := h.endSession(r); err != nil { // of whoever was signed in here before
		return &service.Error{Kind: service.KindUnavailable, Message: "the session before cannot be ended", Err: err}
	}
	h.sessions.put(c.Response(), r, formCookie, "")
	h.sessions.put(c.Response(), r, sessionCookie, h.sessions.seal(session{uuid.New(), key.Hash(), key.Name(), h.now()}))
	c.Response().Header().Set("Cache-Control", "no-store")
	return c.Redirect(http.StatusSeeOther, localPage(r.PostForm.Get("next")))
}

// boardLeave ends the session, wherever its cookie was copied to, and what this browser may have kept of the pages.
func (h handlers) boardLeave(c echo.Context) error {
	h.sessions.put(c.Response(), c.Request(), sessionCookie, "")
	if err := h.endSession(c.Request()); err != nil {
		return &service.Error{Kind: service.KindUnavailable, Message: "you are signed out in this browser alone; revoke the key if the session may have been copied", Err: err}
	}
	c.Response().Header().Set("Cache-Control", "no-store")
	c.Response().Header().Set("Clear-Site-Data", `"cache"`)
	return c.Redirect(http.StatusSeeOther, board.Root+"/sign-in")
}

// endSession ends the session a request came with, if it came with one.
func (h handlers) endSession(r *http.Request) error {
	known, err := h.callerBySession(r)
	switch {
	case errors.Is(err, errNoSession), errors.Is(err, service.ErrNotFound), errors.Is(err, errExpired):
		return nil
	case err != nil:
		return err
	}
	return h.ended.EndSession(r.Context(), known.org, known.session, h.now().Add(sessionLife)) // it is too old before
}

// file answers a file of ours. It is asked for anew each time and answered 304 while it is the same.
func file(kind string, body []byte) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Header().Set("Cache-Control", "no-cache")
		return c.Blob(http.StatusOK, kind, body)
	}
}

// pageID reads the id in a page's address.
func pageID(c echo.Context) (uuid.UUID, error) {
	if id := c.Param("id"); plainUUID(id) {
		return uuid.Parse(id)
	}
	return uuid.Nil, &service.Error{Kind: service.KindNotFound, Message: "there is nothing with this id"}
}

// noPage answers an address below the board's that nothing has.
func noPage(echo.Context) error {
	return &service.Error{Kind: service.KindNotFound, Message: "there is no such page"}
}
