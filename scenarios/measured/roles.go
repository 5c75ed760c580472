package measured

import (
	"fmt"
	"math"
	"strings"

	"phasebench/model"
)

// Role is what a column holds.
type Role string

// Roles: a column is called ROLE_UNIT; a name that is none of these is left alone.
const (
	Time     Role = "time"     // s, ms, us
	Theta    Role = "theta"    // deg, rad
	Index    Role = "index"    // of the sample in its cycle, from 0
	Number   Role = "cycle"    // number of the cycle
	Pressure Role = "pressure" // pa, kpa, mpa, bar, psi; v or raw with a slope
	Teeth    Role = "wheel"    // any unit
	Pulse    Role = "tdc"      // any unit: a pulse once a turn
	Speed    Role = "speed"    // rpm
)

// units are what a column of a role is multiplied by to be SI.
var units = map[Role]map[string]float64{
	Time: {"s": 1, "ms": 1e-3, "us": 1e-6}, Theta: {"deg": deg, "rad": 1}, Speed: {"rpm": rpm},
	Pressure: {"pa": 1, "kpa": 1e3, "mpa": 1e6, "bar": bar, "psi": 6894.757293168361, "v": math.NaN(), "raw": math.NaN()},
	Index:    {"": 1}, Number: {"": 1},
}

// order is that of messages.
var order = []Role{Time, Theta, Index, Number, Pressure, Teeth, Pulse, Speed}

// Names says what names of columns may be.
func Names() string {
	return "time_s, time_ms, time_us, theta_deg, theta_rad, cycle, index, speed_rpm, pressure_bar (_pa, _kpa, _mpa, _psi; _v or _raw with a slope), wheel, tdc; any other name is left alone"
}

// roles are the columns of each role, -1 for none, and their units in SI.
type roles struct {
	at   map[Role]int
	unit map[Role]float64
}

func (r *roles) has(role Role) bool { return r.at[role] >= 0 }

// find gives columns their roles; the first of a role counts.
func find(names []string) (*roles, error) {
	r := &roles{at: map[Role]int{}, unit: map[Role]float64{}}
	for _, role := range order {
		r.at[role] = -1
	}
	for i, name := range names {
		head, unit, _ := strings.Cut(strings.ToLower(strings.TrimSpace(name)), "_")
		role := Role(head)
		if was, known := r.at[role]; !known || was >= 0 {
			continue
		}
		scale := 1.
		if all, ok := units[role]; ok {
			if scale, ok = all[unit]; !ok {
				return nil, &model.Problem{Key: "columns", Given: fmt.Sprintf("%q (column %d)", name, i+1), Want: Names()}
			}
		}
		r.at[role], r.unit[role] = i, scale
	}
	if !r.has(Pressure) {
		return nil, &model.Problem{Key: "columns", Given: fmt.Sprintf("%q", strings.Join(names, ",")), Want: "one named pressure_bar or the like: " + Names()}
	}
	return r, nil
}
