"""How sure a counted error rate is."""

from __future__ import annotations

import math

TWO_SIDED_95 = 1.959963984540054  # of the normal distribution


def rate_limits(errors: int, trials: int, z: float = TWO_SIDED_95) -> tuple[float, float]:
    """Return the Wilson score interval of a rate: where it lies with 95 % confidence.

    With no error in n trials the upper limit is about 3.8 / n. Without a trial it is 0 .. 1.
    """
    if not trials:
        return 0.0, 1.0
    rate, spread = errors / trials, z * z / trials
    middle = rate + spread / 2
    reach = z * math.sqrt(rate * (1 - rate) / trials + spread / (4 * trials))
    return max(0.0, (middle - reach) / (1 + spread)), min(1.0, (middle + reach) / (1 + spread))
