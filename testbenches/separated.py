"""What follows a core's own separator, from what its binding says of it."""

from __future__ import annotations

from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.core_separator import Recovery
from refmodel.engine.separator_run import SeparatorRun
from refmodel.engine.separator_verdict import ModelTallies, models_of
from refmodel.profile import Profile
from refmodel.separator.choose import make_separator
from testbenches.binding.schema import Binding


def recovery_of(
    binding: Binding,
    profile: Profile,
    beside: bool = True,
    judged: bool = True,
    pulse_cycles: int | None = None,
) -> Recovery | None:
    """Return what follows the core's own separator, None if it has none.

    The models run `beside` it on the same pulses where it is known which channel bit each was. It
    is not `judged` on pulses that no drive delivers. A pulse lasts `pulse_cycles`, without it as
    long as the binding says.
    """
    width = pulse_cycles or binding.pulse_cycles
    if width is None or binding.disk.flux is None:
        return None
    known, lag = binding.separator, binding.latency.get(CHANNEL_BIT, 0)
    claimed = None
    if known.model is not None:
        separator = make_separator(known.model, profile.separator, profile.cycles_per_bit)
        claimed = SeparatorRun(separator, known.pulse_latency, width)
    models = models_of(profile.separator, profile.cycles_per_bit) if beside else {}
    tallies = ModelTallies(models, known.pulse_latency, width) if beside else None
    return Recovery(claimed, known.pulse_latency, lag, tallies, known.bounds, judged)
