"""The writes of a capture, as the terminal shows them."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console

from refmodel.capture.written import CapturedWrite, Difference
from refmodel.ground.numbers import counted
from refmodel.media.survey import FieldSeen, survey
from refmodel.profile import Profile

MOST = 16  # patterns listed


def show_writes(
    console: Console, name: str, found: Sequence[CapturedWrite], profile: Profile
) -> None:
    """Print each write: how long, what it holds, how its pulses are shifted."""
    ns = float(profile.cycle_ns)
    _line(console, f"{name}: {counted(len(found), 'write')}", "bold")
    for number, one in enumerate(found, 1):
        burst = one.burst
        length = burst.end - burst.first
        console.print()
        _line(
            console,
            f"write {number}: cycles {burst.first} to {burst.end - 1}, {length * ns / 1000:.1f} us,"
            f" {counted(len(one.bits), 'channel bit')} of {counted(one.bit_cycles, 'cycle')}",
        )
        _line(
            console,
            f"  splices: {counted(one.lead_in, 'cycle')} from gate to first pulse,"
            f" {one.lead_out} from last"
            f" pulse to gate, {counted(length % one.bit_cycles, 'cycle')} of a bit cut short",
        )
        for part in survey(one.bits) if len(one.bits) else ():
            said = part.content if not isinstance(part, FieldSeen) else _field(part)
            _line(console, f"  bit {part.first_bit}: {part.name}: {said}")
        shifts = one.shifts()
        if not shifts:
            _line(console, "  precompensation: none, every pulse at its place in the bit")
        for shift in shifts[:MOST]:
            late = "late" if shift.cycles > 0 else "early"
            _line(
                console,
                f"  pattern {shift.pattern}: {counted(shift.count, 'pulse')}"
                f" {counted(abs(shift.cycles), 'cycle')}"
                f" ({abs(shift.cycles) * ns:.0f} ns) {late}",
            )


def _field(part: FieldSeen) -> str:
    """Say what a field holds."""
    if part.crc_ok is None:
        return f"byte {part.mark:02X}"
    right = "right" if part.crc_ok else f"wrong, should be {part.crc_right:04X}"
    return f"{counted(len(part.body), 'byte')}, check code {part.crc_stored:04X} {right}"


def show_differences(console: Console, found: Sequence[Difference]) -> None:
    """Print how the writes of two captures differ."""
    console.print()
    for one in found:
        if one.alike:
            _line(console, f"write {one.number}: alike, {counted(one.bits[0], 'channel bit')}")
            continue
        said = [f"{counted(one.bits[0], 'channel bit')} against {one.bits[1]}"]
        if one.wrong_bits:
            said.append(f"{one.wrong_bits} differ, the first is channel bit {one.first_bit}")
        if one.shifted:
            said.append(
                f"{counted(one.shifted, 'pulse')} shifted otherwise, by up to"
                f" {counted(one.most_cycles, 'cycle')}"
            )
        _line(console, f"write {one.number}: {'; '.join(said)}")


def _line(console: Console, text: str, style: str = "") -> None:
    console.print(text, style=style, markup=False, highlight=False, soft_wrap=True)
