"""Expected numbers of crate `quality`, by scipy and statsmodels (which pandas and patsy come with).

Writes quality/tests/data/reference.csv: a case, a name, numbers divided by spaces. Names that begin with "in." are what
the case is computed from. Where a library lacks the method, it is written out here from its definition and says so.

Run: python3 tests/reference/quality/make.py   (numpy, scipy, statsmodels; versions are written into the table)
"""
import itertools
import pathlib

import numpy as np
import pandas as pd
import scipy
import statsmodels
from scipy import integrate, optimize, stats
from statsmodels.formula.api import ols
from statsmodels.robust.covariance import cov_ogk
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.diagnostic import normal_ad
from statsmodels.stats.multitest import multipletests

OUT = pathlib.Path(__file__).parents[3] / "quality/tests/data/reference.csv"
RNG = np.random.default_rng(20261127)
ROWS = []


def put(case, **values):
    """Adds numbers of a case; `in_x` becomes "in.x"."""
    for name, value in values.items():
        name = "in." + name[3:] if name.startswith("in_") else name
        numbers = " ".join(repr(float(v)) for v in np.atleast_1d(np.asarray(value, float)).ravel())
        ROWS.append(f"{case},{name},{numbers}")


def draw(n, mean=0.0, sd=1.0):
    """Normal numbers with four decimals, so that the table holds them exactly."""
    return np.round(RNG.normal(mean, sd, n), 4)


def comparisons():
    """Welch, two one-sided tests, Holm."""
    for k, (n, m, d, s) in enumerate([(8, 12, 0.5, 2.0), (30, 5, 0.0, 0.5), (3, 3, 2.0, 1.0)]):
        a, b = draw(n, 10.0 + d, 1.0), draw(m, 10.0, s)
        r = stats.ttest_ind(a, b, equal_var=False)
        ci = r.confidence_interval(0.95)
        low = stats.ttest_ind(a + 1.5, b, equal_var=False, alternative="greater").pvalue
        high = stats.ttest_ind(a - 1.5, b, equal_var=False, alternative="less").pvalue
        put(f"welch{k}", in_a=a, in_b=b, t=r.statistic, p=r.pvalue, dof=r.df, low=ci.low, high=ci.high,
            tost_p_low=low, tost_p_high=high)
    a = draw(9, 5.0, 1.0)
    b = np.round(a + draw(9, 0.2, 0.3), 4)
    r = stats.ttest_rel(a, b)
    put("paired", in_a=a, in_b=b, t=r.statistic, p=r.pvalue, low=r.confidence_interval(0.95).low)
    p = np.round(RNG.uniform(0, 0.2, 12), 5)
    put("holm", in_p=p, adjusted=multipletests(p, method="holm")[1])


def conformity():
    """Global risks as a double integral: JCGM 106, 9.5; bivariate normal rectangles by scipy."""
    for k, (mean, sd, u, lo, hi, g) in enumerate([(0, 0.12, 0.04, -0.2, 0.2, 0.0), (0.05, 0.1, 0.03, -0.2, 0.2, 0.05),
                                                  (10, 1, 0.5, 8, 11, 0.8), (0, 0.05, 0.01, -0.2, 0.1, 0.0165)]):
        def accept(x):
            return stats.norm.cdf(hi - g, x, u) - stats.norm.cdf(lo + g, x, u)

        def over(f, a, b):
            cuts = sorted({a, b, *[c for c in (lo + g, hi - g, lo, hi) if a < c < b]})
            return sum(integrate.quad(f, p, q, epsabs=1e-14, epsrel=1e-12, limit=400)[0] for p, q in zip(cuts, cuts[1:]))

        far = [mean - 12 * sd, mean + 12 * sd]
        bad = over(lambda x: stats.norm.pdf(x, mean, sd) * accept(x), far[0], lo) + over(
            lambda x: stats.norm.pdf(x, mean, sd) * accept(x), hi, far[1])
        good = over(lambda x: stats.norm.pdf(x, mean, sd) * (1 - accept(x)), lo, hi)
        put(f"risk{k}", in_mean=mean, in_sd=sd, in_u=u, in_lower=lo, in_upper=hi, in_guard=g, accepted_and_bad=bad,
            rejected_and_good=good)


def distributions():
    """Noncentral t."""
    for k, (dof, delta, p) in enumerate(itertools.product([2, 9, 42, 300], [0.0, 3.5, 12.0], [0.05, 0.95, 0.99])):
        put(f"nct{k}", in_dof=dof, in_delta=delta, in_p=p, t=stats.nct.ppf(p, dof, delta))


def normality():
    """Shapiro and Wilk; Anderson and Darling with Stephens' p."""
    sets = [draw(3, 0, 1), draw(5, 1, 2), draw(11, 0, 1), draw(12, 5, 1), draw(50, 0, 3), draw(400, 0, 1),
            np.round(RNG.exponential(1, 25), 4), np.round(RNG.uniform(0, 1, 80), 4),
            np.round(RNG.standard_t(3, 200), 4)]
    for k, x in enumerate(sets):
        w, p = stats.shapiro(x)
        put(f"normal{k}", in_x=x, w=w, w_p=p)
        if len(x) >= 8:
            a2, ap = normal_ad(x)
            put(f"normal{k}", a2=a2, a2_p=ap)


def groups():
    """One-way analysis of variance, Kruskal and Wallis with ties; additive model with several factors, type II."""
    sets = [[draw(7, 0, 1), draw(9, 0.5, 1), draw(5, 0, 1)], [np.round(draw(12, 3, 1), 0), np.round(draw(15, 4, 1), 0)]]
    for k, g in enumerate(sets):
        f, p = stats.f_oneway(*g)
        h, hp = stats.kruskal(*g)
        put(f"groups{k}", in_sizes=[len(x) for x in g], in_x=np.concatenate(g), f=f, f_p=p, h=h, h_p=hp)
    a = np.arange(60) * 7 % 4
    y = np.round(RNG.normal(0, 0.5, 60) + 1.0 * (a == 2), 4)
    fit = ols("y ~ d", pd.DataFrame({"y": y, "d": (a == 2) * 1.0})).fit()
    # Four levels and a drift of none (the time is the same for all): four candidates, of which the best counts four times.
    put("effect", in_a=a, in_y=y, effect=fit.params["d"], p=4 * fit.pvalues["d"],
        reach=stats.t.ppf(1 - 0.025 / 4, 58) * fit.bse["d"])


def gauge():
    """Crossed study by the two-way analysis of variance of statsmodels."""
    parts, ops, reps = 8, 3, 2
    cell = [(p, o) for p in range(parts) for o in range(ops) for _ in range(reps)]
    pe, oe, ie = RNG.normal(0, 2, parts), RNG.normal(0, 0.5, ops), RNG.normal(0, 0.4, (parts, ops))
    y = np.round([10 + pe[p] + oe[o] + ie[p, o] + RNG.normal(0, 0.3) for p, o in cell], 4)
    frame = pd.DataFrame({"p": [c[0] for c in cell], "o": [c[1] for c in cell], "y": y})
    t = anova_lm(ols("y ~ C(p) * C(o)", frame).fit())
    put("gauge", in_y=y, in_shape=[parts, ops, reps], ss=t["sum_sq"], f_interaction=t["F"]["C(p):C(o)"],
        p_interaction=t["PR(>F)"]["C(p):C(o)"])
    ref = np.repeat([2.0, 4, 6, 8, 10], 5)
    bias = np.round(0.3 - 0.06 * ref + RNG.normal(0, 0.1, len(ref)), 4)
    frame = pd.DataFrame({"b": bias, "r": ref})
    fit = ols("b ~ r", frame).fit()
    curved = anova_lm(fit, ols("b ~ C(r)", frame).fit())["Pr(>F)"][1]
    put("linearity", in_r=ref, in_b=bias, slope=fit.params["r"], intercept=fit.params["Intercept"],
        slope_u=fit.bse["r"], intercept_u=fit.bse["Intercept"], slope_p=fit.pvalues["r"],
        intercept_p=fit.pvalues["Intercept"], curved_p=curved, r2=fit.rsquared)


def tolerance():
    """Factors of normal tolerance intervals: one-sided by scipy's noncentral t; two-sided from the definition."""
    def two(n, share, level):
        def half(z):
            return optimize.brentq(lambda r: stats.norm.cdf(z + r) - stats.norm.cdf(z - r) - share, 0, 40, xtol=1e-14)

        def proven(k):
            return integrate.quad(lambda z: 2 * np.sqrt(n) * stats.norm.pdf(z * np.sqrt(n)) * stats.chi2.sf(
                (n - 1) * (half(z) / k) ** 2, n - 1), 0, 10 / np.sqrt(n), epsabs=1e-12, limit=200)[0]

        return optimize.brentq(lambda k: proven(k) - level, 0.5, 400, xtol=1e-10)

    for k, (n, share, level) in enumerate(itertools.product([2, 5, 10, 43, 200], [0.9, 0.99], [0.95, 0.99])):
        one = stats.nct.ppf(level, n - 1, stats.norm.ppf(share) * np.sqrt(n)) / np.sqrt(n)
        put(f"tolerance{k}", in_n=n, in_share=share, in_level=level, one=one, two=two(n, share, level))


def trends():
    """Kendall's tau against time, with its normal approximation; least cost of a segmentation by trying all."""
    x = np.round(np.arange(25) * 0.03 + RNG.normal(0, 0.3, 25), 3)
    r = stats.kendalltau(np.arange(25), x, method="asymptotic")
    sen = stats.theilslopes(x)
    put("trend", in_x=x, tau=r.statistic, p=r.pvalue, slope=sen.slope, low=sen.low_slope, high=sen.high_slope)
    y = np.concatenate([draw(9, 0, 1), draw(7, 3, 1), draw(8, 1, 1)])
    best = (np.inf, ())
    for count in range(4):
        for cuts in itertools.combinations(range(1, len(y)), count):
            edges = (0, *cuts, len(y))
            cost = sum(((y[i:j] - y[i:j].mean()) ** 2).sum() for i, j in zip(edges, edges[1:])) + 8.0 * count
            best = min(best, (cost, cuts))
    put("segments", in_x=y, in_penalty=8.0, in_sigma=1.0, cuts=best[1], cost=best[0])


def capability():
    """Intervals of capability: chi-square for two limits, noncentral t for one."""
    x = draw(40, 10.2, 0.5)
    n, m, s = len(x), x.mean(), x.std(ddof=1)
    cpu = (11.5 - m) / (3 * s)

    def bound(p):
        return optimize.brentq(lambda c: stats.nct.cdf(3 * np.sqrt(n) * cpu, n - 1, 3 * np.sqrt(n) * c) - p, -2, 6)

    cp = (11.5 - 8.5) / (6 * s)
    put("capability", in_x=x, in_lower=8.5, in_upper=11.5, pp=cp, ppu=cpu, ppu_low=bound(0.975), ppu_high=bound(0.025),
        pp_low=cp * np.sqrt(stats.chi2.ppf(0.025, n - 1) / (n - 1)),
        pp_high=cp * np.sqrt(stats.chi2.ppf(0.975, n - 1) / (n - 1)))


def subgroups():
    """Six subgroups of five, with constants as tables print them (checked by quadrature to seven decimals)."""
    d2, d3, c4 = 2.3259289, 0.8640819, 0.9399856
    x = draw(30, 7, 2).reshape(6, 5)
    r, s = (x.max(1) - x.min(1)).mean(), x.std(1, ddof=1).mean()
    reach = 3 * np.sqrt(1 - c4 * c4) / c4
    put("subgroups", in_x=x, centre=x.mean(), pooled=np.sqrt(x.var(1, ddof=1).mean()),
        r_centre=r, r_low=0.0, r_high=r * (1 + 3 * d3 / d2), r_mean_low=x.mean() - 3 * r / d2 / np.sqrt(5),
        r_mean_high=x.mean() + 3 * r / d2 / np.sqrt(5), s_centre=s, s_low=0.0, s_high=s * (1 + reach),
        s_mean_low=x.mean() - 3 * s / c4 / np.sqrt(5), s_mean_high=x.mean() + 3 * s / c4 / np.sqrt(5))


def outliers():
    """Orthogonalised Gnanadesikan and Kettenring with the normalised MAD, reweighted, by statsmodels."""
    cov = np.array([[1, 0.8, 0.1], [0.8, 1, -0.2], [0.1, -0.2, 2.0]])
    x = np.round(RNG.multivariate_normal([1, 2, 3], cov, 60), 4)
    x[7] += [1.8, -1.8, 0]
    x[33] += [0, 0, 12]
    r = cov_ogk(x)
    put("outliers", in_x=x, mean=r.mean, cov=r.cov, cov_raw=r.cov_raw)


def main():
    """Writes the table."""
    for part in (comparisons, conformity, distributions, normality, groups, gauge, tolerance, trends, capability,
                 subgroups, outliers):
        part()
    head = [f"# written by tests/reference/quality/make.py: numpy {np.__version__}, scipy {scipy.__version__}, "
            f"statsmodels {statsmodels.__version__}"]
    OUT.parent.mkdir(parents=True, exist_ok=True)
    OUT.write_text("\n".join(head + ROWS) + "\n")


if __name__ == "__main__":
    main()
