"""The bench's tests against scipy, statsmodels and plain enumeration, on data drawn anew.

usage: check_bench.py [PROGRAM] [SEED]; builds and asks the example `bench_tests`
Untied data go to scipy's own exact methods; tied data, which most of them refuse, to scipy's
permutation test over all arrangements or to counting all permutations here.
"""
import itertools
import json
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import scipy.optimize as so
import scipy.stats as ss
from statsmodels.stats.inter_rater import cohens_kappa, fleiss_kappa
from statsmodels.stats.multitest import multipletests

root = Path(__file__).resolve().parents[2]
subprocess.run(["cargo", "build", "--locked", "--quiet", "--example", "bench_tests"], cwd=root, check=True)
binary = Path(os.environ.get("CARGO_TARGET_DIR", root / "target")) / "debug" / "examples" / "bench_tests"
rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 20261)
cases, checks = [], []


def ask(test, groups, check):
    cases.append({"test": test, "groups": groups})
    checks.append((test, check))


def near(name, mine, theirs, tolerance=1e-9):
    assert abs(mine - theirs) <= tolerance * max(1.0, abs(theirs)), f"{name}: {mine} for {theirs}"


def grades(*shape):
    return rng.integers(0, 6, shape).astype(float)


def arrangements(sizes):
    """All ways to deal sum(sizes) places into groups."""
    def deal(left, k):
        if k == len(sizes) - 1:
            yield (left,)
            return
        for chosen in itertools.combinations(left, sizes[k]):
            rest = tuple(i for i in left if i not in chosen)
            for more in deal(rest, k + 1):
                yield (chosen,) + more
    return deal(tuple(range(sum(sizes))), 0)


def share(values, observed, higher=True):
    values = np.array(values)
    return np.mean(values >= observed - 1e-9) if higher else np.mean(values <= observed + 1e-9)


# rank sum: untied against scipy exact, tied against scipy's permutation of all arrangements
for _ in range(6):
    x, y = rng.standard_normal(4), rng.standard_normal(6)
    r = [ss.mannwhitneyu(x, y, alternative=a, method="exact") for a in ("less", "greater", "two-sided")]
    ask("rank_sum", [list(x), list(y)], lambda m, r=r: [near("U", m["statistic"], r[0].statistic), near("less", m["low"], r[0].pvalue), near("greater", m["high"], r[1].pvalue), near("two", m["two"], r[2].pvalue)])
    x, y = grades(4), grades(5)
    stat = lambda a, b: ss.rankdata(np.r_[a, b])[: len(a)].sum()
    t = [ss.permutation_test((x, y), stat, n_resamples=np.inf, alternative=a, vectorized=False).pvalue for a in ("less", "greater")]
    ask("rank_sum", [list(x), list(y)], lambda m, t=t: [near("tied less", m["low"], t[0]), near("tied greater", m["high"], t[1])])

# signed rank
for _ in range(6):
    d = rng.standard_normal(9)
    r = ss.wilcoxon(d, alternative="greater", method="exact")
    ask("signed_rank", [list(d)], lambda m, r=r: [near("V", m["statistic"], r.statistic), near("greater", m["high"], r.pvalue)])
    d = rng.integers(-4, 5, 8).astype(float)
    kept = d[d != 0]
    if len(kept):
        ranks = ss.rankdata(np.abs(kept))
        all_v = [np.dot(s, ranks) for s in itertools.product((0, 1), repeat=len(kept))]
        v = ranks[kept > 0].sum()
        ask("signed_rank", [list(d)], lambda m, a=all_v, v=v: [near("tied V", m["statistic"], v), near("tied", m["high"], share(a, v))])

# several groups with ties: every arrangement
for sizes in ((3, 3, 3), (2, 3, 4), (2, 2, 2, 2)):
    for _ in range(2):
        x = grades(sum(sizes))
        while len(set(x)) < 2:
            x = grades(sum(sizes))
        cut = np.cumsum(sizes)[:-1]
        groups = np.split(x, cut)
        h = ss.kruskal(*groups).statistic
        j = lambda gs: sum((b > a) + 0.5 * (b == a) for p, q in itertools.combinations(gs, 2) for a in p for b in q)
        ranks = ss.rankdata(x)
        hs, js = [], []
        for deal in arrangements(sizes):
            hs.append(sum(ranks[list(g)].sum() ** 2 / len(g) for g in deal))
            js.append(j([x[list(g)] for g in deal]))
        own = sum(g.sum() ** 2 / len(g) for g in np.split(ranks, cut))
        lists = [list(g) for g in groups]
        ask("kruskal_wallis", lists, lambda m, h=h, p=share(hs, own): [near("H", m["statistic"], h), near("H exact", m["high"], p)])
        ask("jonckheere", lists, lambda m, s=j(groups), p=share(js, j(groups)), q=share(js, j(groups), False): [near("J", m["statistic"], s), near("J high", m["high"], p), near("J low", m["low"], q)])

# blocks
for _ in range(3):
    untied = np.array([rng.permutation(4) for _ in range(3)], float)
    r = ss.page_trend_test(untied, method="exact")
    ask("page", untied.tolist(), lambda m, r=r: [near("L", m["statistic"], r.statistic), near("L exact", m["high"], r.pvalue)])
    tied = grades(3, 4)
    while any(len(set(row)) < 2 for row in tied):
        tied = grades(3, 4)
    q = ss.friedmanchisquare(*tied.T).statistic
    ranks = np.array([ss.rankdata(row) for row in tied])
    ways = [list(itertools.permutations(row)) for row in ranks]
    sums = [np.array(c).sum(0) for c in itertools.product(*ways)]
    squares, trend = [(s**2).sum() for s in sums], [np.dot(s, (1, 2, 3, 4)) for s in sums]
    ask("friedman", tied.tolist(), lambda m, q=q, p=share(squares, (ranks.sum(0) ** 2).sum()): [near("Q", m["statistic"], q), near("Q exact", m["high"], p)])
    ask("skillings_mack", tied.tolist(), lambda m, p=share(squares, (ranks.sum(0) ** 2).sum()): near("SM exact without holes", m["high"], p))
    ask("page", tied.tolist(), lambda m, p=share(trend, np.dot(ranks.sum(0), (1, 2, 3, 4))): near("L tied", m["high"], p))

# correlations
for tied in (False, True):
    for _ in range(3):
        x, y = (grades(7), grades(7)) if tied else (rng.standard_normal(7), rng.standard_normal(7))
        if len(set(x)) < 2 or len(set(y)) < 2:
            continue
        rho, tau = ss.spearmanr(x, y).statistic, ss.kendalltau(x, y)
        ry = ss.rankdata(y)
        rhos = [np.dot(ss.rankdata(x), p) for p in itertools.permutations(ry)]
        sign = np.sign(x[:, None] - x[None, :])
        taus = [(sign * np.sign(np.subtract.outer(np.array(p), np.array(p)))).sum() for p in itertools.permutations(y)]
        own = (sign * np.sign(np.subtract.outer(y, y))).sum()
        lists = [list(x), list(y)]
        ask("spearman", lists, lambda m, s=rho, p=share(rhos, np.dot(ss.rankdata(x), ry)): [near("rho", m["statistic"], s), near("rho exact", m["high"], p)])
        ask("kendall", lists, lambda m, s=tau.statistic, p=share(taus, own): [near("tau", m["statistic"], s), near("tau exact", m["high"], p)])

# tables
for _ in range(6):
    t = rng.integers(1, 9, (2, 2))
    p = [ss.fisher_exact(t, a).pvalue for a in ("less", "greater", "two-sided")]
    ask("fisher", t.astype(float).tolist(), lambda m, p=p: [near("fisher", m[k], v, 1e-7) for k, v in zip(("low", "high", "two"), p)])
    t = rng.integers(0, 4, (3, 3)) + np.eye(3, dtype=int)
    rows, columns = np.repeat(range(3), t.sum(1)), np.repeat(range(3), t.sum(0))
    log = lambda t: -sum(np.log(np.arange(1, c + 1)).sum() for c in t.ravel())
    total, extreme = 0.0, 0.0
    r, c = t.sum(1), t.sum(0)
    for a in itertools.product(*(range(min(r[i], c[j]) + 1) for i in range(2) for j in range(2))):
        u = np.zeros((3, 3), int)
        u[:2, :2] = np.reshape(a, (2, 2))
        u[:2, 2] = r[:2] - u[:2, :2].sum(1)
        u[2] = c - u[:2].sum(0)
        if (u < 0).any():
            continue
        w = np.exp(log(u))
        total += w
        extreme += w if log(u) <= log(t) + 1e-7 else 0.0
    ask("fisher_table", t.astype(float).tolist(), lambda m, p=extreme / total: near("r x c", m["two"], p, 1e-8))

# who got there: every table of four groups with these margins; one direction of two groups
for _ in range(4):
    of = rng.integers(2, 6, 4)
    r = rng.integers(0, of + 1)
    if r.sum() in (0, of.sum()):
        continue
    ways = [np.prod([math.comb(int(n), x) for n, x in zip(of, xs)]) for xs in itertools.product(*(range(n + 1) for n in of)) if sum(xs) == r.sum()]
    own = np.prod([math.comb(int(n), int(x)) for n, x in zip(of, r)])
    p = [sum(w for w in ways if w <= limit) / sum(ways) for limit in (own, min(ways))]
    ask("through", [r.tolist(), of.tolist()], lambda m, p=p: [near("through", m["low"], p[0]), near("through floor", m["floor"], p[1])])
    x, n = [1, 4], [5, 5]
    p = ss.fisher_exact([[1, 4], [4, 1]], "less").pvalue
    ask("through", [x, n], lambda m, p=p: near("through one way", m["low"], p, 1e-8))

# agreement, correction, blinding
for _ in range(4):
    t = rng.integers(0, 8, (6, 6)) + 6 * np.eye(6, dtype=int)
    k = {n: cohens_kappa(t, wt=w) for n, w in (("none", None), ("linear", "linear"), ("quadratic", "quadratic"))}
    ask("kappa", t.astype(float).tolist(), lambda m, k=k: [near(n, m[n][i], v) for n in k for i, v in enumerate((k[n].kappa, k[n].std_kappa))])
    f = rng.multinomial(5, [0.3, 0.2, 0.2, 0.1, 0.1, 0.1], 12)
    ask("fleiss", f.astype(float).tolist(), lambda m, v=fleiss_kappa(f): near("fleiss", m["kappa"], v))
    p = rng.uniform(size=9) ** 2
    ask("holm", [p.tolist()], lambda m, v=multipletests(p, method="holm")[1]: [near("holm", a, b) for a, b in zip(m["adjusted"], v)])
    n = int(rng.integers(4, 20))
    hits = int(rng.integers(0, n + 1))
    b = ss.binomtest(hits, n, 1 / 5, alternative="greater")
    ci = ss.binomtest(hits, n, 1 / 5).proportion_ci(0.90, "exact")
    ask("binomial", [[hits, n, 5]], lambda m, b=b, ci=ci: [near("binomial", m["high"], b.pvalue), near("low", m["low90"], ci.low, 1e-7), near("high", m["high90"], ci.high, 1e-7)])

# lives between inspections, beyond the last one, and exact: scipy's censored fit, its optimiser asked for more digits
for kind in ("interval", "right", "interval", "mixed"):
    t = 600 * rng.weibull(1.7, 40)
    looks = np.array([0, 125, 250, 500, 1000], float)
    slot = np.searchsorted(looks, t)
    low = [None if k == 1 else float(looks[k - 1]) for k in slot]
    high = [float(looks[k]) if k < len(looks) else None for k in slot]
    if kind == "right":
        low, high = [float(min(v, 700.0)) for v in t], [float(v) if v < 700 else None for v in t]
    elif kind == "mixed":
        for i in range(0, 40, 2):
            low[i] = high[i] = float(t[i])
    data = ss.CensoredData(
        uncensored=[b for a, b in zip(low, high) if a == b],
        left=[b for a, b in zip(low, high) if a is None],
        right=[a for a, b in zip(low, high) if b is None],
        interval=[[a, b] for a, b in zip(low, high) if a is not None and b is not None and a < b],
    )
    tight = lambda f, x0, args=(), disp=0: so.minimize(f, x0, args, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 10000}).x
    shape, _, scale = ss.weibull_min.fit(data, 1.5, scale=500, floc=0, optimizer=tight)
    ask("lives", [low, high], lambda m, k=shape, s=scale: [near("shape", m["shape"], k, 1e-6), near("scale", m["scale"], s, 1e-6)])

# two groups with one shape: likelihood written anew, maximised; its peak's curvature; and the average over
# location and scatter as plain sums on a finer grid
def log_likelihood(low, high, mu, sigma):
    law = ss.gumbel_l(mu, sigma)
    parts = [law.logsf(math.log(a)) if b is None else law.logpdf(math.log(b)) if a == b else np.log(law.cdf(math.log(b)) - (law.cdf(math.log(a)) if a else 0.0)) for a, b in zip(low, high)]
    return sum(parts)


def quantiles(x, w):
    order = np.argsort(x)
    x, w = x[order], w[order]
    return np.exp(np.interp((0.05, 0.5, 0.95), (np.cumsum(w) - w / 2) / w.sum(), x))


for sizes in ((6, 9), (12, 5)):
    groups = []
    for n, scale in zip(sizes, (500, 900)):
        t = scale * rng.weibull(1.8, n)
        slot = np.searchsorted(looks, t)
        groups += [[None if k == 1 else float(looks[k - 1]) for k in slot], [float(looks[k]) if k < len(looks) else None for k in slot]]
    if any(all(b is None for b in groups[i + 1]) or all(a is None for a in groups[i]) for i in (0, 2)):
        continue
    minus = lambda p, g=groups: -log_likelihood(g[0], g[1], p[0], math.exp(p[2])) - log_likelihood(g[2], g[3], p[1], math.exp(p[2]))
    best = tight(minus, [6.2, 6.8, -0.5])
    h, steps = 1e-3, np.eye(3)
    hessian = [[(minus(best + h * (a + b)) - minus(best + h * (a - b)) - minus(best - h * (a - b)) + minus(best - h * (a + b))) / (4 * h * h) for a in steps] for b in steps]
    error = np.linalg.inv(hessian)[1, 1] ** 0.5
    grid = np.arange(0, 16, 0.01)
    shape, median, ratio, weights = [], [], [], []
    for u in np.linspace(-3.5, 3.5, 57):
        sigma = math.exp(-1.09 + 0.5 * u)
        with np.errstate(all="ignore"):
            p = [np.exp(log_likelihood(groups[i], groups[i + 1], grid, sigma)) for i in (0, 2)]
        p = [np.nan_to_num(q) for q in p]
        weights.append(math.exp(-u * u / 2) * p[0].sum() * p[1].sum())
        shape.append(-math.log(sigma))
        median.append((grid + sigma * math.log(math.log(2)), p[0] / p[0].sum()))
        ratio.append(np.convolve(p[1] / p[1].sum(), (p[0] / p[0].sum())[::-1]))
    weights = np.array(weights)
    expected = [
        quantiles(np.array(shape), weights),
        quantiles(np.concatenate([x for x, _ in median]), np.concatenate([w * q for w, (_, q) in zip(weights, median)])),
        quantiles((np.arange(2 * len(grid) - 1) - len(grid) + 1) * 0.01, weights @ np.array(ratio)),
    ]
    ask("lives", groups, lambda m, b=best, e=error, x=expected: [near("two scales", m["scale"], math.exp(b[0]), 1e-5), near("one shape", m["shape"], math.exp(-b[2]), 1e-5), near("ratio", m["ratio"], math.exp(b[1] - b[0]), 1e-5), near("standard error", m["last_se"], e, 1e-3)] + [near(n, a, c, t) for n, t, r, q in zip(("shape range", "median range", "ratio range"), (1e-2, 5e-3, 5e-3), m["ranges"], x) for a, c in zip(r, q)])

answers = json.loads(subprocess.run([binary], input=json.dumps(cases), capture_output=True, text=True, check=True).stdout)
failed = 0
for (test, check), answer in zip(checks, answers):
    try:
        assert "error" not in answer, answer
        check(answer)
    except AssertionError as e:
        failed += 1
        print(f"FAILED {test}: {e}")
print(f"bench tests against scipy {__import__('scipy').__version__} and statsmodels: {len(checks) - failed} passed, {failed} failed")
sys.exit(1 if failed else 0)
