package sensor

import (
	"fmt"

	"phasebench/model"
)

// quantity is a setting with its key, its value in SI, the SI value of 1 in the
// unit of the key, and what is allowed in that unit.
type quantity struct {
	key       string
	value     float64
	scale     float64
	low, high float64
}

// within returns a *model.Problem about the first of all out of its range, or nil.
func within(all ...quantity) error {
	for _, q := range all {
		v := q.value / q.scale
		const slack = 1e-9 // what scaling rounds
		room := slack * (q.high - q.low)
		if !(v >= q.low-room && v <= q.high+room) {
			return &model.Problem{Key: q.key, Given: fmt.Sprintf("%.6g", v), Want: fmt.Sprintf("%g to %g", q.low, q.high)}
		}
	}
	return nil
}
