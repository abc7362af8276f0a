"""A trial: a span with something about its binding, or the model's policies, supposed otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from refmodel.engine.evidence import Observed, Reads
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile


@dataclass(frozen=True)
class Trial:
    """What is given to the model and the comparison in place of what the binding says.

    `change` says what is supposed, as a key of the binding where there is one.
    """

    change: str
    stimulus: Stimulus
    profile: Profile
    lags: Mapping[str, int]
    reads: Reads
    start: int
    observed: Observed
