package trust

import (
	"math"

	"phasebench/scenarios/record"
)

// CellRecord is a Cell as files and JSON have it; the tags are a contract. A nil is a
// number that it has not.
type CellRecord struct {
	Spark       float64  `json:"spark_deg_btdc"`
	Truth       *float64 `json:"true_peak_deg_atdc"`
	TruthSD     *float64 `json:"true_peak_sd_deg"`
	Read        *float64 `json:"read_deg_atdc"`
	SD          *float64 `json:"read_sd_deg"`
	Bias        *float64 `json:"bias_deg"`
	Error       *float64 `json:"rms_error_deg"`
	Averaged    *float64 `json:"rms_error_of_16_deg"`
	Declined    *float64 `json:"declined_fraction"`
	Correlation *float64 `json:"correlation"`
	Slope       *float64 `json:"slope"`
	Wrong       *float64 `json:"wrong_side_fraction"`
}

// CauseRecord is a Cause; a nil: the flip is gone without it.
type CauseRecord struct {
	Name  string   `json:"name"`
	Moves *float64 `json:"moves_deg"`
}

// FlipRecord is a Flip.
type FlipRecord struct {
	Spark  *float64      `json:"spark_deg_btdc"`
	How    string        `json:"how"`
	Causes []CauseRecord `json:"causes"`
}

// NodeRecord is a Node.
type NodeRecord struct {
	Reader   string       `json:"reader"`
	Speed    float64      `json:"speed_rpm"`
	MAP      float64      `json:"map_kpa"`
	MBT      *float64     `json:"mbt_deg_btdc"`
	Aim      *float64     `json:"reads_on_target_deg_atdc"`
	Retarded FlipRecord   `json:"retarded_flip"`
	Advanced FlipRecord   `json:"advanced_flip"`
	SafeFrom *float64     `json:"safe_from_deg_btdc"`
	SafeTo   *float64     `json:"safe_to_deg_btdc"`
	Needed   *float64     `json:"cycles_for_1_deg"`
	Cells    []CellRecord `json:"cells"`
}

// Record names the numbers of n.
func (n *Node) Record() NodeRecord {
	const rpm = 2 * math.Pi / 60
	out := NodeRecord{Reader: n.Reader, Speed: n.Speed / rpm, MAP: n.MAP / 1e3, MBT: record.Number(n.MBT, deg), Aim: record.Number(n.Aim, deg),
		Retarded: n.Retarded.record(), Advanced: n.Advanced.record(), SafeFrom: record.Number(n.Safe.From, deg), SafeTo: record.Number(n.Safe.To, deg), Needed: record.Number(n.Needed, 1)}
	for i := range n.Cells {
		c := &n.Cells[i]
		out.Cells = append(out.Cells, CellRecord{c.Spark / deg, record.Number(c.Truth, deg), record.Number(c.TruthSD, deg), record.Number(c.Read, deg), record.Number(c.SD, deg),
			record.Number(c.Bias, deg), record.Number(c.Error, deg), record.Number(c.Averaged, deg), record.Number(c.Declined, 1), record.Number(c.Correlation, 1), record.Number(c.Slope, 1), record.Number(c.Wrong, 1)})
	}
	return out
}

func (f *Flip) record() FlipRecord {
	out := FlipRecord{Spark: record.Number(f.Spark, deg), How: f.How, Causes: []CauseRecord{}}
	for _, c := range f.Causes {
		out.Causes = append(out.Causes, CauseRecord{c.Name, record.Number(c.Moves, deg)})
	}
	return out
}
