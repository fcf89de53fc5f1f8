// Package allocate decides which sorties of a launch cycle go, and with which
// booster units from which lots, and proves that no choice is better.
//
// # The problem
//
// A [Problem] lists sorties in launch order. Each has a priority and its usable
// fits; a [Fit] is a set of draws (so many units from such a lot) with the run
// margin it leaves. At most one fit is chosen for a sortie; a sortie without one
// is held. The choice keeps to
//
//   - stock: units drawn from each lot at most its available units less the
//     lot's own reserve, and at each site at least the site's reserve left over;
//   - crews: with K teams, p seconds a unit, units fitted at most hold_max and at
//     least hold_min before launch, for all launch times t_a <= t_b of a site
//     p * (units fitted to sorties launched from t_a to t_b)
//     <= K * ((t_b - hold_min) - (t_a - hold_max));
//   - transfers: units of another site's lot only where a [Transfer] brings them,
//     at most as many as it carries, and fitted after it arrives;
//   - spots: sorties of one [Group] may trade spots, one aircraft a spot, where
//     wing clearance allows and nobody held blocks the way.
//
// The objective is lexicographic:
//
//  1. greatest total priority launched,
//  2. fewest units,
//  3. least sum over units of their lot's expiry rank (earliest-expiring first),
//  4. greatest sum of run margins, each capped at [MarginCapMM].
//
// Choices equal in all four are told apart by the declared tie: at the first
// sortie in launch order where two choices differ, launched beats held, then the
// fit listed first, then (for a held aircraft that stays in a
// group) the spot listed first. So the answer is unique. Everything is an integer
// (units, seconds, millimetres); nothing is rounded while solving.
//
// # The answer
//
//	res, err := allocate.Solve(ctx, &p, allocate.Options{Nodes: 100_000})
//
// [Solve] returns a [Result] whose Status is Optimal, Feasible (a limit was hit:
// each level then carries a proven bound) or Infeasible; Unique adds that the ties
// are settled too. The limit counts search
// nodes, so it ends at the same place on every machine; a deadline comes with the
// context. A result holds a [Proof]; [Verify] re-checks choice, figures and proof
// with code of its own, and Solve calls it before anything leaves.
//
// [WriteLP] writes each stage as CPLEX-LP text for any other solver, [Explain]
// says why a sortie is held and what binds, [Worth] re-solves to price one more
// unit, crew or pair, [Respot] compares the best spots with the given ones.
// The crews' hour-by-hour schedule is in package timeline below this one.
//
// Results advise. They do not replace the approved flight manual, the ordnance
// instructions or the judgement of licensed people.
package allocate
