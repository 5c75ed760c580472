package control

import (
	"fmt"

	"phasebench/model"
)

// guardNumbers are the numbers of a guard in SI.
type guardNumbers struct {
	least, most, authority, slew, margin, home float64
	patience, recover, lost, modes             int
	lostShare, modesShare                      float64
	probeEvery, probeCycles                    int
	probeAfter, probe                          float64
	peak, knock, ceiling                       float64
}

// GuardNumbers lists the numbers of a guard. What is usual is our own choice.
var GuardNumbers = []Number{
	{"patience_cycles", "cycles to hold before going to the base map", "cycles", 1, 0, 1000, 5},
	{"recover_cycles", "cycles all must be well before a law has the spark again", "cycles", 1, 1, 10000, 32},
	{"least_deg_btdc", "latest spark", "deg", deg, -60, 60, -5},
	{"most_deg_btdc", "earliest spark", "deg", deg, -60, 90, 45},
	{"authority_deg", "farthest from the base map; 0: no matter", "deg", deg, 0, 90, 15},
	{"slew_deg", "most move towards advance in a cycle; 0: no matter", "deg", deg, 0, 60, 3},
	{"home_deg", "move towards advance in a cycle on the way to the base map", "deg", deg, 0.1, 60, 1},
	{"margin_deg", "how far inside the believed range orders stay", "deg", deg, 0, 20, 0},
	{"lost_cycles", "readings missing in a row that are let pass; 0: no matter", "cycles", 1, 0, 1000, 8},
	{"lost_percent", "readings missing of the last 32 that are let pass; 0: no matter", "%", 0.01, 0, 100, 50},
	{"modes_cycles", "readings among which two crowds are looked for; 0: not looked for", "cycles", 1, 0, 1000, 32},
	{"modes_percent", "readings near their median, below which crowds count", "%", 0.01, 0, 100, 80},
	{"probe_every_cycles", "cycles from one slope test to the next; 0: none by the clock", "cycles", 1, 0, 100000, 0},
	{"probe_after_deg", "advance over the base map since the last test that asks for one; 0: none for that", "deg", deg, 0, 60, 6},
	{"probe_deg", "move to either side in a slope test", "deg", deg, 0.5, 10, 2},
	{"probe_cycles", "cycles on either side in a slope test", "cycles", 1, 3, 1000, 12},
	{"peak_bar", "greatest peak pressure; 0: no matter", "bar", 1e5, 0, 1000, 0},
	{"knock", "loudest knock, over the usual loudness; 0: no matter", "-", 1, 0, 1000, 0},
	{"ceiling_deg", "retard from a spark that knocked or had too high a peak", "deg", deg, 0.1, 60, 3},
}

// newGuardNumbers returns the numbers given, by key, and the others as usual.
func newGuardNumbers(given map[string]float64) (guardNumbers, error) {
	v, err := resolve("guard", "the guard", GuardNumbers, given)
	if err != nil {
		return guardNumbers{}, err
	}
	bad := func(key, want string) (guardNumbers, error) {
		return guardNumbers{}, &model.Problem{Key: "guard." + key, Given: fmt.Sprintf("%.6g", given[key]), Want: want}
	}
	if !(v["least_deg_btdc"] < v["most_deg_btdc"]) {
		if _, ok := given["most_deg_btdc"]; !ok {
			return bad("least_deg_btdc", fmt.Sprintf("less than guard.most_deg_btdc, %g", v["most_deg_btdc"]/deg))
		}
		return bad("most_deg_btdc", fmt.Sprintf("more than guard.least_deg_btdc, %g", v["least_deg_btdc"]/deg))
	}
	return guardNumbers{
		least: v["least_deg_btdc"], most: v["most_deg_btdc"], authority: v["authority_deg"], slew: v["slew_deg"],
		margin: v["margin_deg"], home: v["home_deg"],
		patience: int(v["patience_cycles"]), recover: int(v["recover_cycles"]),
		lost: int(v["lost_cycles"]), lostShare: v["lost_percent"],
		modes: int(v["modes_cycles"]), modesShare: v["modes_percent"],
		probeEvery: int(v["probe_every_cycles"]), probeCycles: int(v["probe_cycles"]), probeAfter: v["probe_after_deg"], probe: v["probe_deg"],
		peak: v["peak_bar"], knock: v["knock"], ceiling: v["ceiling_deg"],
	}, nil
}
