package gas

import "math"

// The composition is sought through the logarithms of four basis species,
//
//	y_C = ln x_CO2, y_H = ½ ln x_H2O, y_N = ½ ln x_N2, y_E = ½ ln x_O2,
//
// which are the element potentials of C, H, N and of the excess oxygen
// E = O − 2C − H/2, each measured from its basis species. Every other species
// follows from its formation constant,
//
//	ln x_CO = K + y_C − y_E      ln x_O  = K + y_E
//	ln x_H2 = K + 2y_H − y_E     ln x_OH = K + y_H + ½y_E
//	ln x_H  = K + y_H − ½y_E     ln x_NO = K + y_N + y_E
//
// and argon is inert. With n moles per kg the five unknowns (y, ln n) meet
//
//	ln(n·Σa_j·x / b_j) = 0       for C, H and N,
//	ln((n·P + b⁻)/(n·Q + b⁺)) = 0  for E,
//	ln Σx = 0.
//
// P and Q collect the species with oxygen in excess and in want, b⁺ and b⁻ the
// excess or want of the whole. As no equation subtracts large numbers, cold
// and stoichiometric gas, where x_O2 and x_CO are both traces, is solved as
// exactly as hot gas; as all are logarithms of sums of exponentials, Newton
// meets nearly straight lines.

// equilibrium is a solution and the room to find it in.
type equilibrium struct {
	x, lnx       [nProducts]float64
	cpR, hRT, sR [nProducts]float64
	n            float64            // [mol/kg]
	dT, dP       [nProducts]float64 // ∂ln(n·x)/∂ln T and /∂ln p
	nT, nP       float64            // ∂ln n/∂ln T and /∂ln p
	y, yT, yP    unknowns           // solution, ∂y/∂ln T, ∂y/∂ln p
	kappa        [nProducts]float64 // ∂K/∂ln T
	p, q         float64            // P and Q
	jac          jacobian
}

// unknowns are y_C, y_H, y_N, y_E, ln n, or the five residuals.
type unknowns [5]float64

// jacobian holds the entries of ∂residual/∂unknown that are not fixed: rows
// C, H, N (c, h, n), E (e) and Σx (s).
type jacobian struct {
	ce, hh, he, nn, ne     float64
	ec, eh, en, ee, el     float64 // el: ∂/∂ln n
	sc, sh, sn, se, sl     float64
	massC, massH, massN, s float64 // Σa·x per element, Σx
}

// nu is −∂K/∂ln p: moles lost in forming the species from its basis.
var nu = [nProducts]float64{iCO: 0.5, iH2: 0.5, iH: 0.75, iO: 0.5, iOH: 0.25}

// species fills cp/R, h/RT and s/R at P0.
func (q *equilibrium) species(t float64) {
	lnT := math.Log(t)
	for i := range q.x {
		c := catalogue[i].at(t)
		q.cpR[i], q.hRT[i], q.sR[i] = c.cp(t), c.h(t)/t, c.s(t, lnT)
	}
}

// relative is what formation from the basis changes in z.
func relative(z *[nProducts]float64) (d [nProducts]float64) {
	d[iCO] = z[iCO] - z[iCO2] + z[iO2]/2
	d[iH2] = z[iH2] - z[iH2O] + z[iO2]/2
	d[iH] = z[iH] - z[iH2O]/2 + z[iO2]/4
	d[iO] = z[iO] - z[iO2]/2
	d[iOH] = z[iOH] - z[iH2O]/2 - z[iO2]/4
	d[iNO] = z[iNO] - z[iN2]/2 - z[iO2]/2
	return d
}

// constants returns K of every species and keeps ∂K/∂ln T.
func (q *equilibrium) constants(p float64) (k [nProducts]float64) {
	lnP := math.Log(p / P0)
	q.kappa = relative(&q.hRT)
	s := relative(&q.sR)
	for i := range k {
		k[i] = s[i] - q.kappa[i] - nu[i]*lnP
	}
	return k
}

// predict moves the last solution on by its slopes; y is nearly linear in 1/T.
func (q *equilibrium) predict(dT, dP float64) {
	for j := range q.y {
		q.y[j] += q.yT[j]*dT + q.yP[j]*dP
	}
}

// guess sets y for a start from nothing. Given y_E and n the other three
// balances are linear or quadratic; y_E follows by bisection, n by repetition.
func (q *equilibrium) guess(in *intake, lnK *[nProducts]float64) {
	n := in.c + in.h/2 + in.n/2 + max(in.e, 0)/2 + in.ar
	for range 4 {
		q.y[4] = math.Log(n)
		lo, hi := -200., 2.
		for range 60 {
			q.y[3] = (lo + hi) / 2
			e := math.Exp(q.y[3])
			q.y[0] = math.Log(in.c / n / (1 + math.Exp(lnK[iCO])/e))
			q.y[1] = math.Log(root(2*(1+math.Exp(lnK[iH2])/e),
				math.Exp(lnK[iH])/math.Sqrt(e)+math.Exp(lnK[iOH])*math.Sqrt(e), in.h/n))
			q.y[2] = math.Log(root(2, math.Exp(lnK[iNO])*e, in.n/n))
			if r := q.residuals(in, lnK); r[3] > 0 {
				hi = q.y[3]
			} else {
				lo = q.y[3]
			}
		}
		n *= q.jac.s
	}
}

// root is the positive root of a·z² + b·z = c.
func root(a, b, c float64) float64 { return 2 * c / (b + math.Sqrt(b*b+4*a*c)) }

// newton iterates from q.y. False: no convergence.
func (q *equilibrium) newton(in *intake, lnK *[nProducts]float64) bool {
	const (
		maxIter = 60
		maxStep = 2    // in any unknown
		small   = 1e-7 // a step this small leaves an error of about its square
	)
	for range maxIter {
		r := q.residuals(in, lnK)
		d := q.linear(&r, in.c > 0)
		var big float64
		for _, dj := range d {
			big = max(big, math.Abs(dj)) // keeps a NaN
		}
		if !(big < math.Inf(1)) {
			return false
		}
		f := min(1, maxStep/big)
		for j := range d {
			q.y[j] -= f * d[j]
		}
		if big < small {
			q.residuals(in, lnK)
			return true
		}
	}
	return false
}

// residuals evaluates the composition at q.y, the five equations and their
// Jacobian.
func (q *equilibrium) residuals(in *intake, lnK *[nProducts]float64) (r unknowns) {
	yC, yH, yN, yE := q.y[0], q.y[1], q.y[2], q.y[3]
	n := math.Exp(q.y[4])
	l, x := &q.lnx, &q.x
	l[iN2], l[iO2], l[iH2O] = 2*yN, 2*yE, 2*yH
	l[iH2] = lnK[iH2] + 2*yH - yE
	l[iH] = lnK[iH] + yH - yE/2
	l[iO] = lnK[iO] + yE
	l[iOH] = lnK[iOH] + yH + yE/2
	l[iNO] = lnK[iNO] + yN + yE
	for _, i := range [...]int{iN2, iO2, iH2O, iH2, iH, iO, iOH, iNO} {
		x[i] = math.Exp(l[i])
	}
	if in.c > 0 {
		l[iCO2], l[iCO] = yC, lnK[iCO]+yC-yE
		x[iCO2], x[iCO] = math.Exp(l[iCO2]), math.Exp(l[iCO])
	}
	if in.ar > 0 {
		x[iAR] = in.ar / n
		l[iAR] = math.Log(x[iAR])
	}
	q.n = n

	j := &q.jac
	j.massC = x[iCO2] + x[iCO]
	j.massH = 2*x[iH2O] + 2*x[iH2] + x[iH] + x[iOH]
	j.massN = 2*x[iN2] + x[iNO]
	q.p = 2*x[iO2] + x[iO] + x[iOH]/2 + x[iNO]
	q.q = x[iCO] + x[iH2] + x[iH]/2
	j.s = x[iN2] + x[iO2] + x[iCO2] + x[iH2O] + x[iCO] + x[iH2] + x[iH] + x[iO] + x[iOH] + x[iNO] + x[iAR]

	if in.c > 0 {
		j.ce = -x[iCO] / j.massC
		r[0] = math.Log(n * j.massC / in.c)
	}
	j.hh = (4*x[iH2O] + 4*x[iH2] + x[iH] + x[iOH]) / j.massH
	j.he = (-2*x[iH2] - x[iH]/2 + x[iOH]/2) / j.massH
	r[1] = math.Log(n * j.massH / in.h)
	j.nn = (4*x[iN2] + x[iNO]) / j.massN
	j.ne = x[iNO] / j.massN
	r[2] = math.Log(n * j.massN / in.n)

	up, down := q.sides(in)
	j.ec = -n * x[iCO] / down
	j.eh = n*x[iOH]/2/up - n*(2*x[iH2]+x[iH]/2)/down
	j.en = n * x[iNO] / up
	j.ee = n*(4*x[iO2]+x[iO]+x[iOH]/4+x[iNO])/up + n*(x[iCO]+x[iH2]+x[iH]/4)/down
	j.el = n*q.p/up - n*q.q/down
	r[3] = math.Log(up / down)

	j.sc, j.sh, j.sn, j.se, j.sl = j.massC/j.s, j.massH/j.s, j.massN/j.s, (q.p-q.q)/j.s, -x[iAR]/j.s
	r[4] = math.Log(j.s)
	return r
}

// sides are the two positive sides of the balance of excess oxygen [mol/kg].
func (q *equilibrium) sides(in *intake) (up, down float64) {
	return q.n*q.p + max(-in.e, 0), q.n*q.q + max(in.e, 0)
}

// linear solves J·d = r. Rows C, H and N hold only their own unknown, y_E and
// ln n, so the first three go by hand and two equations in two unknowns stay.
func (q *equilibrium) linear(r *unknowns, carbon bool) (d unknowns) {
	j := &q.jac
	if !carbon {
		j.ce, j.ec, j.sc = 0, 0, 0
	}
	fh, fn := 1/j.hh, 1/j.nn
	a := j.ee - j.ec*j.ce - j.eh*fh*j.he - j.en*fn*j.ne
	b := j.el - j.ec - j.eh*fh - j.en*fn
	c := j.se - j.sc*j.ce - j.sh*fh*j.he - j.sn*fn*j.ne
	e := j.sl - j.sc - j.sh*fh - j.sn*fn
	rE := r[3] - j.ec*r[0] - j.eh*fh*r[1] - j.en*fn*r[2]
	rS := r[4] - j.sc*r[0] - j.sh*fh*r[1] - j.sn*fn*r[2]
	det := a*e - b*c
	d[3] = (rE*e - b*rS) / det
	d[4] = (a*rS - c*rE) / det
	d[0] = r[0] - j.ce*d[3] - d[4]
	d[1] = (r[1] - j.he*d[3] - d[4]) * fh
	d[2] = (r[2] - j.ne*d[3] - d[4]) * fn
	if !carbon {
		d[0] = 0
	}
	return d
}

// slopes differentiates the solution implicitly: J·∂y = −∂residual at fixed y.
func (q *equilibrium) slopes(in *intake) {
	var minusNu [nProducts]float64
	for i := range nu {
		minusNu[i] = -nu[i]
	}
	q.yT, q.dT = q.slope(in, &q.kappa)
	q.yP, q.dP = q.slope(in, &minusNu)
	q.nT, q.nP = q.yT[4], q.yP[4]
}

// slope answers a change k of the constants K with those of y and of ln(n·x).
func (q *equilibrium) slope(in *intake, k *[nProducts]float64) (dy unknowns, dx [nProducts]float64) {
	x, n := &q.x, q.n
	co, h2, h, o, oh, no := x[iCO]*k[iCO], x[iH2]*k[iH2], x[iH]*k[iH], x[iO]*k[iO], x[iOH]*k[iOH], x[iNO]*k[iNO]
	up, down := q.sides(in)
	r := unknowns{
		0, -(2*h2 + h + oh) / q.jac.massH, -no / q.jac.massN,
		-n*(o+oh/2+no)/up + n*(co+h2+h/2)/down,
		-(co + h2 + h + o + oh + no) / q.jac.s,
	}
	if in.c > 0 {
		r[0] = -co / q.jac.massC
	}
	dy = q.linear(&r, in.c > 0)
	l := dy[4]
	dx[iN2], dx[iO2], dx[iH2O], dx[iCO2] = 2*dy[2]+l, 2*dy[3]+l, 2*dy[1]+l, dy[0]+l
	dx[iCO] = k[iCO] + dy[0] - dy[3] + l
	dx[iH2] = k[iH2] + 2*dy[1] - dy[3] + l
	dx[iH] = k[iH] + dy[1] - dy[3]/2 + l
	dx[iO] = k[iO] + dy[3] + l
	dx[iOH] = k[iOH] + dy[1] + dy[3]/2 + l
	dx[iNO] = k[iNO] + dy[2] + dy[3] + l
	return dy, dx
}
