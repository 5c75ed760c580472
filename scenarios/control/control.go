// Package control holds the laws that move the spark from cycle to cycle, and the
// guard that stands between a law and the coil.
//
// A law sees what a controller has of a cycle, Seen, and never the truth. It answers
// with an Order for the cycles to come. What became of its last order, after the
// guard, is in Seen.Ordered: laws go on from there and keep no spark of their own,
// so that a guard that holds them back does not wind them up.
//
// Another program can be the law: see StartOutside.
package control

import (
	"math"

	"phasebench/scenarios/reader"
)

const deg = math.Pi / 180

// Order is a spark advance for each plug [rad].
type Order struct {
	Leading  float64
	Trailing float64 // NaN: it moves with the leading one, the engine's split later
}

// Seen is what a controller has of one cycle. A number that no instrument gives is
// NaN.
type Seen struct {
	Cycle  int
	Time   float64 // from the start of the run to the end of the cycle [s]
	Speed  float64 // mean of the cycle [rad/s]
	MAP    float64 // [Pa]
	Base   float64 // spark of the base map there [rad]
	Target float64 // LPP that is asked for [rad]

	Ordered Order // the last order, as the guard let it pass [rad]
	Fired   Order // what the cycle fired with, as a pickup at the coil sees it [rad]

	Single   reader.Reading // of the pressure peak, by this cycle alone
	Reading  reader.Reading // what laws go by: the same, or that of the last cycles where they are averaged
	Trailing reader.Reading // by the trailing plug; declined where that is no sensor

	Knock   float64 // loudness in the window of the knock sensor, over the usual one [-]
	Peak    float64 // greatest pressure [Pa]
	IMEP    float64 // net, of the samples of pressure [Pa]
	Heat    float64 // apparent net heat release [J]
	Torque  float64 // brake, by the dynamometer [N·m]
	Airflow float64 // [kg/s]

	Theta, Samples []float64 // of the reader's signal [rad], [Pa] or [A]; good until the next cycle
}

// Law moves the spark.
type Law interface {
	Next(s *Seen) Order // for the cycles after s
	Reset()             // forget: the next cycle is the first
}

// Advice is what a law that moves nothing has to say.
type Advice struct {
	Off        float64 // by how much the spark should be advanced [rad]; negative: retarded; NaN: it cannot tell
	Confidence float64 // 0 to 1
}

// Adviser is a Law that also tells what it would do.
type Adviser interface{ Advice() Advice }

// together is an order for both plugs.
func together(spark float64) Order { return Order{spark, math.NaN()} }
