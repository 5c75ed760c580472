package solve

import (
	"math"

	"phasebench/model"
)

// Cycle is one solved cycle: samples over the whole of it and the numbers
// that sum it up. The slices belong to the Cycle; Solver.Run uses them again.
type Cycle struct {
	Operating model.Operating
	Lit       bool // the spark set the charge on fire
	Begin     int  // Theta[Begin:End] are the samples of the sealed part
	End       int

	Theta    []float64 // [rad], from the start to the end of the cycle
	Volume   []float64 // [m³]
	Pressure []float64 // [Pa]
	Temp     []float64 // mean gas temperature [K]; NaN while a valve is open
	Burned   []float64 // burned fraction of the fresh charge that burns [-]
	Release  []float64 // heat-release rate, fuel burned times its heating value [J/rad]
	WallHeat []float64 // given to the walls since intake closing [J]; NaN while a valve is open
	Motored  []float64 // pressure of the same charge without a spark [Pa]; empty unless asked for

	Indicators
}

// Indicators are the numbers of a cycle, SI; NaN where the cycle has none.
type Indicators struct {
	LPP  float64 // location of peak pressure [rad]
	Peak float64 // peak pressure [Pa]

	CA10, CA50, CA90 float64 // angles at which the burned fraction is reached [rad]
	Development      float64 // spark to CA10 [rad]
	Rapid            float64 // CA10 to CA90 [rad]

	IMEPGross float64 // work between the two greatest volumes around firing, over swept volume [Pa]
	IMEPNet   float64 // work of the whole cycle over swept volume [Pa]
	PMEP      float64 // IMEPNet − IMEPGross [Pa]; negative while the engine pumps
	FMEP      float64 // [Pa]
	BMEP      float64 // IMEPNet − FMEP [Pa]

	Torque float64 // at the brake, mean over the cycle [N·m]
	Power  float64 // at the brake [W]

	Efficiency float64 // gross indicated work over fuel energy [-]
	HeatLoss   float64 // wall heat of the sealed part over fuel energy [-]
	Residual   float64 // burned gas over charge at intake closing, by mass [-]
	Volumetric float64 // air taken in over air that would fill the swept volume at manifold pressure and temperature [-]
	Airflow    float64 // [kg/s]
	FuelHeat   float64 // fuel energy of the fresh charge, lower heating value [J]
	Charge     float64 // mass at intake closing [kg]
	PeakTemp   float64 // greatest mean gas temperature [K]

	EnergyResidual float64 // |ΔU + W + Q| of the sealed part over the greater of fuel energy and compression work [-]
	MassResidual   float64 // |mass exhausted − mass taken in| over charge [-]
}

// resize gives every slice the length n.
func (c *Cycle) resize(n int) {
	if len(c.Theta) == n {
		return
	}
	all := make([]float64, 7*n)
	for i, s := range []*[]float64{&c.Theta, &c.Volume, &c.Pressure, &c.Temp, &c.Burned, &c.Release, &c.WallHeat} {
		*s = all[i*n : (i+1)*n : (i+1)*n]
	}
	c.Motored = nil
}

// blank makes every indicator NaN.
func (i *Indicators) blank() {
	n := math.NaN()
	*i = Indicators{n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n, n}
}
