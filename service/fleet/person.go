package fleet

import (
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// KindErasure is the kind under which the log has that what was written about a person was erased. It is of no thing of the
// book and in none of its lists.
const KindErasure Kind = "erasure"

// Person is what is written about one person in a drill or an incident note. The text is not kept in the body: there a
// commitment stands for it, so that it can be erased.
type Person struct {
	PersonID   uuid.UUID `json:"person_id"` // uuid.Nil as sent: the service gives one
	Role       string    `json:"role"`      // skipper, crew, instructor, injured, dead, missing, witness, other
	Commitment string    `json:"commitment,omitempty"`
	Text       string    `json:"text,omitempty"` // as sent and answered
}

// Personal is a thing of the book that names people.
type Personal interface {
	Entity
	// Named gives them, to be changed in place.
	Named() []Person
}

// NamesPeople tells whether things of a kind do.
func NamesPeople(kind Kind) bool {
	i := slices.IndexFunc(descriptions, func(d Description) bool { return d.Kind == kind })
	if i < 0 {
		return false
	}
	_, personal := descriptions[i].New().(Personal)
	return personal
}

// checkPeople checks that something is written about each, or was.
func checkPeople(people []Person) (problems []planner.Problem) {
	for i, p := range people {
		at := fmt.Sprintf("/persons/%d/text", i)
		switch {
		case p.Text == "" && p.Commitment == "":
			problems = append(problems, planner.Problem{Pointer: at, Message: "is missing", Fix: "send what is to be known of the person, or the commitment to what was sent before"})
		case strings.ContainsRune(p.Text, 0):
			problems = append(problems, planner.Problem{Pointer: at, Message: "holds a NUL", Fix: "send text"})
		}
	}
	return problems
}

// Named gives who took part.
func (d *Drill) Named() []Person { return d.Persons }

// Named gives whom it happened to, and who saw it.
func (i *Incident) Named() []Person { return i.Persons }
