package planner

import "context"

// SeaRoomOf computes everything a sea room needs, once, and returns a function that computes the sea room alone.
func SeaRoomOf(ctx context.Context, r Request) (func() (SeaRoom, error), error) {
	c := computation{request: r, policy: policyOf(r)}
	for _, step := range []func(context.Context) error{c.resolve, c.chooseGear, c.divide, c.studyWorst, c.studyOthers} {
		if err := step(ctx); err != nil {
			return nil, err
		}
	}
	return func() (SeaRoom, error) {
		err := c.seaRoom()
		if err != nil {
			return SeaRoom{}, err
		}
		return *c.plan.SeaRoom, nil
	}, nil
}
