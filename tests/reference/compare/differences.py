"""Expected numbers of tests/tests/measuring/compare.rs: differences from budgets (JCGM 100:2008, 5.2.2 and G.4.1), the pooled test of
runs with the rim clamped anew, and the bound of two one-sided tests.

    python tests/reference/compare/differences.py     (numpy 2.4.6, scipy 1.17.1)
"""

import numpy as np
from scipy import stats


def student(value, parts):
    """Value, standard uncertainty, degrees of freedom, half width at 95 %, p, bound at 95 %."""
    variance = sum(u**2 for u, _ in parts)
    u = np.sqrt(variance)
    weight = sum(part**4 / dof for part, dof in parts if np.isfinite(dof))
    dof = variance**2 / weight if weight else np.inf
    t = stats.t if np.isfinite(dof) else None
    q = lambda p: t.ppf(p, dof) if t else stats.norm.ppf(p)
    p = 2 * (t.sf(abs(value) / u, dof) if t else stats.norm.sf(abs(value) / u))
    return value, u, dof, q(0.975) * u, p, abs(value) + q(0.95) * u


INF = np.inf
print("one certificate: 4.4 against 4.0, gain 1 % of each is one value")
print(student(0.4, [(0.03, 9), (0.04, 14), (0.004, INF)]))
print("two certificates: the gains are two values")
print(student(0.4, [(0.03, 9), (0.04, 14), (0.04, INF), (0.044, INF)]))
print("ratio under one certificate: the gain cancels; sensitivities 1/4 and 4.4/16")
print(student(0.1, [(0.03 * 4.4 / 16, 9), (0.04 / 4, 14)]))

then, now = [1.0, 1.2, 1.1], [2.0, 2.4]
test = stats.ttest_ind(now, then, equal_var=True)
print("clamped anew before every run: Student's pooled test")
print(test.statistic, test.pvalue, test.df, test.confidence_interval(0.95))

d = 23.19989109947644
print("least difference found in four of five cases, one look, in standard uncertainties:", stats.t.ppf(0.975, d) + stats.t.ppf(0.8, d))
