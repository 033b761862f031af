"""Shapes of numbers that the storeroom's rules share. One place of an array is one part, unless said otherwise."""

from collections.abc import Sequence
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

Reals: TypeAlias = NDArray[np.float64]
Wholes: TypeAlias = NDArray[np.int64]
Flags: TypeAlias = NDArray[np.bool_]

DAYS_PER_YEAR: Final = 365.25
DAYS_PER_MONTH: Final = DAYS_PER_YEAR / 12


def reals(values: Sequence[float] | Reals | float) -> Reals:
    """Return values as an array of reals of one dimension or more."""
    return np.atleast_1d(np.asarray(values, dtype=np.float64))


def wholes(values: Sequence[int] | Wholes | int) -> Wholes:
    """Return values as an array of whole numbers of one dimension or more."""
    return np.atleast_1d(np.asarray(values, dtype=np.int64))


def ratio(above: Reals, below: Reals, otherwise: float = 0.0) -> Reals:
    """Return ``above`` / ``below``, and ``otherwise`` where nothing stands below."""
    above, below = np.broadcast_arrays(above, below)
    return np.divide(above, below, out=np.full(above.shape, otherwise, dtype=np.float64), where=below != 0)
