package ode

// The Dormand-Prince 5(4) pair with 7 stages, the last of which is the first
// of the next step, and its free continuous extension of order 4.
//
// Sources: J. R. Dormand, P. J. Prince, A family of embedded Runge-Kutta
// formulae, J. Comput. Appl. Math. 6 (1980) 19-26, table 2 (RK5(4)7M);
// E. Hairer, S. P. Norsett, G. Wanner, Solving Ordinary Differential
// Equations I, 2nd ed., table II.5.2 (pair) and II.6 (extension).

const (
	stages = 7
	order  = 5 // of the weights b, the ones that advance the state
)

// c holds the nodes.
var c = [stages]float64{0, 1. / 5, 3. / 10, 4. / 5, 8. / 9, 1, 1}

// a holds the stage weights. Its last row is b.
var a = [stages][stages - 1]float64{
	{},
	{1. / 5},
	{3. / 40, 9. / 40},
	{44. / 45, -56. / 15, 32. / 9},
	{19372. / 6561, -25360. / 2187, 64448. / 6561, -212. / 729},
	{9017. / 3168, -355. / 33, 46732. / 5247, 49. / 176, -5103. / 18656},
	{35. / 384, 0, 500. / 1113, 125. / 192, -2187. / 6784, 11. / 84},
}

// e holds b minus the weights of order 4.
var e = [stages]float64{
	71. / 57600, 0, -71. / 16695, 71. / 1920, -17253. / 339200, 22. / 525, -1. / 40,
}

// d holds the weights of the last term of the continuous extension.
var d = [stages]float64{
	-12715105075. / 11282082432, 0, 87487479700. / 32700410799,
	-10690763975. / 1880347072, 701980252875. / 199316789632,
	-1453857185. / 822651844, 69997945. / 29380423,
}
