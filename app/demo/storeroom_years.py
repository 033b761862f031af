"""Years of an invented storeroom's demand, for ``countback simulate``: the same seed makes the same years."""

import numpy as np

from app.rules.stores.trial import Series


def invent(parts: int, years: int, seed: int) -> Series:
    """Return demand by day of parts of five kinds: steady chance, scattered little or much, in fours, rare and lumpy.

    Three years come before the counted ones, as history.
    """
    chance = np.random.default_rng(seed)
    days = int((years + 3) * 365.25)
    kind = np.arange(parts) % 5
    mean = np.exp(chance.uniform(np.log(0.02), np.log(3), parts))
    mean = np.where(kind == 4, mean / 10, mean)
    scatter = np.select([kind == 1, kind == 2, kind == 4], [1.5, chance.uniform(2, 5, parts), 3.0], 1.0)
    wanted = np.zeros((parts, days), dtype=np.int64)
    for part in range(parts):
        if kind[part] == 0:
            wanted[part] = chance.poisson(mean[part], days)
        elif kind[part] == 3:
            wanted[part] = 4 * chance.poisson(mean[part] / 4, days)
        else:
            size, chance_of = mean[part] / (scatter[part] - 1), 1 / scatter[part]
            wanted[part] = chance.negative_binomial(size, chance_of, days)
    return Series(
        numbers=tuple(f"S-{n:04d}" for n in range(1, parts + 1)),
        wanted=wanted,
        lead_days=chance.integers(5, 41, parts),
        price=np.asarray(np.round(np.exp(chance.uniform(np.log(0.5), np.log(60), parts)), 2), dtype=np.float64),
        target=chance.choice([0.90, 0.95, 0.98], parts),
    )
