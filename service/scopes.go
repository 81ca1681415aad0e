package service

import "slices"

// Scope is something a key may do. A key may do what its scopes name, and nothing else: none includes another.
type Scope string

// The scopes.
const (
	ScopePlansRead       Scope = "plans:read" // and registers and readiness
	ScopePlansWrite      Scope = "plans:write"
	ScopeRegistersWrite  Scope = "registers:write"
	ScopeOutcomesWrite   Scope = "outcomes:write"
	ScopeIncidentsWrite  Scope = "incidents:write"
	ScopeAuditRead       Scope = "audit:read"
	ScopeRescueEmergency Scope = "rescue:emergency" // beyond the organisation's own wall
	ScopeAdmin           Scope = "admin"            // keys
)

// AllScopes lists the scopes there are.
func AllScopes() []Scope { return append(EverydayScopes(), ScopeRescueEmergency) }

// EverydayScopes are all that stay within an organisation. They are what a key gets when nothing is said.
func EverydayScopes() []Scope {
	return []Scope{ScopePlansRead, ScopePlansWrite, ScopeRegistersWrite, ScopeOutcomesWrite, ScopeIncidentsWrite, ScopeAuditRead, ScopeAdmin}
}

// Caller is who asks, and what it may do.
type Caller struct {
	By     string // the name of its key, for the log
	Scopes []Scope
}

// May tells whether the caller has a scope.
func (c Caller) May(s Scope) bool { return slices.Contains(c.Scopes, s) }

// lacks gives the scopes the caller has not.
func (c Caller) lacks(scopes []Scope) []Scope {
	return slices.DeleteFunc(slices.Clone(scopes), c.May)
}
