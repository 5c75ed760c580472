package knock

// Share is the part of the constant-volume pressure rise that Intensity takes
// for knock. Our own choice: the end gas burns off neither wholly nor at once,
// and a transducer sees one place of a wave. With 0.2, a fifth to two fifths of
// the charge left at full load make 2 to 5 bar, as heavy knock has (common
// practice, no source).
const Share = 0.2

// BurnedGamma is the γ of hot gas that Intensity is usually asked with (common practice, no source).
const BurnedGamma = 1.25

// Intensity returns a knock intensity [Pa]: Share of the rise of the chamber's
// mean pressure if all that is unburned at onset burned at once, the volume
// held,
//
//	Share · (γ−1) · m·q / V
//
// with unburned mass m [kg], >= 0, heat q per mass of charge [J/kg], >= 0,
// chamber volume V at onset [m³], > 0, and γ of the gas in the chamber, > 1.
//
// It ranks operating points and vanishes with the unburned mass. It is no
// forecast of a measured peak of the filtered pressure, which depends on where
// the end gas sits, where the transducer sits and the filter band, and which
// scatters from cycle to cycle with a long tail. It has not been calibrated
// against an engine.
func Intensity(unburned, heat, volume, gamma float64) float64 {
	return Share * (gamma - 1) * unburned * heat / volume
}
