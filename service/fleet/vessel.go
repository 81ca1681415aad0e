package fleet

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"rideout/service/planner"
)

// Vessel is a vessel of the organisation. She ends by her status, never by being removed.
type Vessel struct {
	lasting
	Particulars
	IMO      string `json:"imo,omitempty"` // seven digits
	HomePort string `json:"home_port,omitempty"`
	Status   string `json:"status"` // in_service, laid_up, sold, lost
	Note     string `json:"note,omitempty"`
}

// Settle puts a vessel whose status is not said into service.
func (v *Vessel) Settle() {
	if v.Status == "" {
		v.Status = "in_service"
	}
}

// Check checks her particulars as the planner does, and the form of her numbers.
func (v *Vessel) Check(time.Time) []planner.Problem {
	c := checker{problems: plannersProblems(v.Planned(), nil, "/vessel", "")}
	if v.MMSI != "" {
		if err := CheckMMSI(v.MMSI); err != nil {
			c.add("/mmsi", err.Error(), "send the nine digits of the ship station licence")
		}
	}
	if v.IMO != "" {
		if err := CheckIMO(v.IMO); err != nil {
			c.add("/imo", err.Error(), "send the seven digits of the IMO number, without the letters")
		}
	}
	if strings.Trim(v.CallSign, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") != "" || len(v.CallSign) > 0 && len(v.CallSign) < 3 {
		c.add("/call_sign", fmt.Sprintf("%q has not the form of a call sign", v.CallSign), "send capital letters and digits, three or more")
	}
	return c.problems
}

// Refs are none.
func (v *Vessel) Refs() []Ref { return nil }

// Vessel is none: she is listed by herself.
func (v *Vessel) Vessel() uuid.UUID { return uuid.Nil }

// CheckIMO tells whether seven digits are an IMO number: the first six, multiplied by 7, 6, 5, 4, 3, 2 and added, end in
// the seventh.
//
// Source: IMO resolution A.1117(30) (2017), IMO ship identification number scheme, from memory.
func CheckIMO(number string) error {
	if len(number) != 7 || strings.Trim(number, "0123456789") != "" {
		return fmt.Errorf("%q is not seven digits", number)
	}
	sum := 0
	for i := range 6 {
		sum += int(number[i]-'0') * (7 - i)
	}
	if want := sum % 10; int(number[6]-'0') != want {
		return fmt.Errorf("the last digit of %s does not fit the others: it would be %d", number, want)
	}
	return nil
}

// CheckMMSI tells whether nine digits can be a vessel's identity: MIDxxxxxx of a ship station, or 98MIDxxxx of a
// craft that belongs to another vessel, with a MID from 201 to 775. Groups, coast stations, aircraft, aids to
// navigation and distress beacons have other forms.
//
// Source: Recommendation ITU-R M.585-9 (2022), annex 1, from memory.
func CheckMMSI(number string) error {
	if len(number) != 9 || strings.Trim(number, "0123456789") != "" {
		return fmt.Errorf("%q is not nine digits", number)
	}
	mid := number[:3]
	if strings.HasPrefix(number, "98") {
		mid = number[2:5]
	}
	if mid < "201" || mid > "775" {
		return fmt.Errorf("%s is not a vessel's: its country code %s is not from 201 to 775", number, mid)
	}
	return nil
}
