"""Which lesson is about which clause, so that a report can point to it."""

from __future__ import annotations

LESSON_OF = {
    "B1": "channel_bit",
    "B2": "window",
    "B3": "window",
    "B4": "framing",
    "B5": "ready",
    "B6": "arming",
    "B7": "writing",
    "B8": "reset",
    "B9": "arming",
    "B10": "arming",
    "B11": "writing",
    "B12": "window",
    "B13": "channel_bit",
    "B14": "reset",
    "B15": "writing",
    "separator": "separator",
}
