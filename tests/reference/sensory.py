"""What a tasting shows, against scipy: sheets with and without ties, choices among glasses, means, pairs and trends.

The cases are run by science.py with all the others.
"""

import numpy as np
from scipy import stats

JUDGES, SAMPLES = 9, 5


def any_marks(random):
    """Sheets of nine judges for five samples, marked in halves, so that many are alike."""
    liking = random.uniform(2, 8, SAMPLES)
    marks = random.normal(liking, 1.5, (JUDGES, SAMPLES))
    return [JUDGES, *np.clip(np.round(2 * marks) / 2, 0, 10).flatten()]


def sheets(columns):
    return np.array(columns[1:]).T.reshape(-1, JUDGES, SAMPLES)


def ranking(*columns):
    """Friedman's statistic with ties, its probability, Kendall's W and the least difference of two rank sums."""
    least = stats.norm.ppf(0.975) * np.sqrt(JUDGES * SAMPLES * (SAMPLES + 1) / 6)
    found = []
    for rows in sheets(columns):
        test = stats.friedmanchisquare(*rows.T)
        sums = stats.rankdata(rows, axis=1).sum(axis=0)
        found.append([test.statistic, test.pvalue, kendall_w(rows), least, *sums])
    return np.array(found)


def kendall_w(rows):
    """Kendall's W with ties from the spread of the rank sums (Kendall and Gibbons), not from Friedman's statistic."""
    judges, samples = rows.shape
    sums = stats.rankdata(rows, axis=1).sum(axis=0)
    spread = np.sum((sums - sums.mean()) ** 2)
    ties = sum(np.sum(count**3 - count) for count in (np.unique(row, return_counts=True)[1] for row in rows))
    return 12 * spread / (judges**2 * (samples**3 - samples) - judges * ties)


def any_order(random):
    """Sheets without ties, and the order that was expected: as the samples stand."""
    ranks = np.array([random.permutation(SAMPLES) + 1 for _ in range(JUDGES)])
    return [JUDGES, *ranks.flatten()]


def page(*columns):
    tests = [stats.page_trend_test(rows, ranked=True, method="asymptotic") for rows in sheets(columns)]
    return np.array([[test.statistic, test.pvalue] for test in tests])


# Triangle, duo-trio, a pair of which the answer is known, a pair of which it is not.
CHANCES = [1 / 3, 1 / 2, 1 / 2, 1 / 2]


def any_choice(random):
    of = random.integers(5, 121)
    return [random.integers(0, 4), random.integers(0, of + 1), of]


def choice(kind, chosen, of):
    """Probability, least number (0 for none), and the share who tell apart with the interval of Clopper and Pearson."""
    return np.array([choose(int(k), int(x), int(n)) for k, x, n in zip(kind, chosen, of)])


def choose(kind, chosen, of):
    open_pair, chance = kind == 3, CHANCES[kind]
    chosen = max(chosen, of - chosen) if open_pair else chosen
    side = "two-sided" if open_pair else "greater"
    p = lambda x: stats.binomtest(x, of, chance, alternative=side).pvalue
    # Nothing below what guessing gives on the average is more than chance.
    least = next((x for x in range(int(np.ceil(of * chance)), of + 1) if p(x) <= 0.05), 0)
    share = stats.binomtest(chosen, of, chance).proportion_ci(0.95, "exact")
    apart = [np.clip((x - chance) / (1 - chance), 0, 1) for x in (chosen / of, share.low, share.high)]
    return [p(chosen), least, *apart]


def any_pairs(random):
    return list(random.normal(6, 1.5, 16))


def means(*columns):
    """Mean of eight marks, deviation, interval; then the paired comparison with eight others."""
    one, other = np.array(columns[:8]), np.array(columns[8:])
    low, high = stats.t.interval(0.95, 7, one.mean(axis=0), stats.sem(one, axis=0))
    pair = stats.ttest_rel(one, other)
    bounds = pair.confidence_interval(0.95)
    return np.column_stack([
        one.mean(axis=0), one.std(axis=0, ddof=1), low, high, pair.statistic, pair.pvalue, bounds.low, bounds.high,
    ])


def any_tastings(random):
    """Six marks over time."""
    return [x for pair in zip(np.sort(random.uniform(0, 5, 6)), random.normal(6, 1, 6)) for x in pair]


def trend(*columns):
    ages, marks = np.array(columns[0::2]).T, np.array(columns[1::2]).T
    found = []
    for x, y in zip(ages, marks):
        line = stats.linregress(x, y)
        half = stats.t.ppf(0.975, len(x) - 2) * line.stderr
        found.append([line.slope, line.slope - half, line.slope + half, line.intercept, line.pvalue])
    return np.array(found)


def trend_within(*columns):
    """Four judges at three ages each: least squares with a level for every judge, by the general linear model."""
    ages, marks = np.array(columns[0::2]).T, np.array(columns[1::2]).T
    levels = np.repeat(np.eye(4), 3, axis=0)
    found = []
    for x, y in zip(ages, marks):
        design = np.column_stack([x, levels])
        weights, residual, _, _ = np.linalg.lstsq(design, y, rcond=None)
        freedom = len(y) - design.shape[1]
        error = np.sqrt(residual[0] / freedom * np.linalg.inv(design.T @ design)[0, 0])
        half = stats.t.ppf(0.975, freedom) * error
        p = 2 * stats.t.sf(abs(weights[0] / error), freedom)
        found.append([weights[0], weights[0] - half, weights[0] + half, y.mean() - weights[0] * x.mean(), p])
    return np.array(found)


def any_panel(random):
    ages = np.concatenate([np.sort(random.uniform(0, 5, 3)) for _ in range(4)])
    strict = np.repeat(random.normal(0, 1.5, 4), 3)
    marks = 6 + strict + 0.4 * ages + random.normal(0, 0.7, 12)
    return [x for pair in zip(ages, marks) for x in pair]


# Name, reference, units, tolerances, one row of arguments, the function.
TASTING = [
    ("ranking", "scipy friedman", ["χ²", "p", "W", *["ranks"] * (1 + SAMPLES)], [1e-9] * 9, any_marks, ranking),
    ("page", "scipy page_trend_test", ["L", "p"], [1e-9, 1e-9], any_order, page),
    ("choice", "scipy binomtest", ["p", "answers", *["share"] * 3], [1e-9, 0, *[1e-9] * 3], any_choice, choice),
    ("means", "scipy t, ttest_rel", ["mark"] * 4 + ["t", "p", "mark", "mark"], [1e-8] * 8, any_pairs, means),
    ("trend", "scipy linregress", ["1/year"] * 3 + ["mark", "p"], [1e-7] * 5, any_tastings, trend),
    ("trend_within", "numpy lstsq", ["1/year"] * 3 + ["mark", "p"], [1e-7] * 5, any_panel, trend_within),
]
