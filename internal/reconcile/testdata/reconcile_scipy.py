"""Solve reconciliation problems with a general optimiser (scipy SLSQP).

Reads a JSON list of problems from standard input and prints, per problem, the
reconciled values and the minimum of the weighted sum of squares. Variables on
the log scale are adjusted there. A constraint is a list of [coefficient,
exponents, ...]: "sum" adds coefficient * x[i]; "product" is
sum(exponent * log(x[i])) - log(constant).
"""
import json
import sys

import numpy as np
from scipy.optimize import minimize


def solve(problem):
    log = np.array(problem["log"], dtype=bool)
    value = np.array(problem["value"], dtype=float)
    sd = np.array(problem["sd"], dtype=float)
    y = np.where(log, np.log(np.where(log, value, 1)), value)

    def natural(z):
        return np.where(log, np.exp(np.where(log, z, 0)), z)

    def constraint(c):
        terms = c["terms"]
        if c["kind"] == "sum":
            return lambda z: sum(k * natural(z)[int(i)] for i, k in terms)
        return lambda z: sum(k * np.log(natural(z)[int(i)]) for i, k in terms) - np.log(c["constant"])

    cons = [{"type": "eq", "fun": constraint(c)} for c in problem["constraints"]]
    best = minimize(lambda z: np.sum(((z - y) / sd) ** 2), y, constraints=cons, method="SLSQP",
                    options={"ftol": 1e-14, "maxiter": 1000})
    return {"x": natural(best.x).tolist(), "chi": float(best.fun), "ok": bool(best.success)}


json.dump([solve(p) for p in json.load(sys.stdin)], sys.stdout)
