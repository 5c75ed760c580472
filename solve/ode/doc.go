// Package ode integrates systems of ordinary differential equations
//
//	y' = f(x, y),  y(x0) given,
//
// with the explicit Runge-Kutta pair of Dormand and Prince of order 5(4), its
// continuous extension of order 4, proportional-integral step-size control,
// breaks where f jumps, and events located on the continuous extension.
//
// The unit of x and of each component of y is the caller's. One Solver serves
// any number of integrations and allocates nothing in them.
package ode
