package gas_test

import (
	"fmt"

	"phasebench/model/gas"
)

func ExampleFlameHP() {
	fuel, err := gas.FuelByName("iso-octane")
	if err != nil {
		fmt.Println(err)
		return
	}
	fresh, err := gas.NewFresh(fuel, 1, gas.DefaultAir)
	if err != nil {
		fmt.Println(err)
		return
	}
	burned, err := gas.NewBurned(fuel, 1, gas.DefaultAir)
	if err != nil {
		fmt.Println(err)
		return
	}
	t, err := gas.FlameHP(fresh, burned, 298.15, 101325)
	fmt.Printf("%.0f K %v\n", t, err)
	// Output: 2269 K <nil>
}

func ExampleFuelByName() {
	_, err := gas.FuelByName("petrol")
	fmt.Println(err)
	// Output: gas: FuelByName("petrol"): unknown fuel, want one of iso-octane, gasoline, methane, propane, ethanol, methanol, hydrogen
}
