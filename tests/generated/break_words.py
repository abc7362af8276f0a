"""Ways to break a command line: words lost, doubled, swapped, misspelt, and odd values."""

from __future__ import annotations

import random

ODD_VALUES = (
    *("", " ", "-", "--", "nan", "inf", "-1", "0", "1e999", "99999999999999999999", "0x10", "1/0"),
    *("none", "a=b", "=", "sync_view=", "=live", "a" * 5000, "\u00e4\u2028", "\x1b[2J", "a\nb"),
    *("\udcff\udcfe", "[/x]", "%s", "$(id)", "`id`", "*", "a[1].v", ".", "..", "a/b/c"),
    *("/dev/null", "/dev/full", "/proc/self/mem", "/dev/zero", "no/such/file", "--help"),
    *("scenario.yaml", "binding.yaml", "profile.yaml", "plan.yaml", "map.yaml", "dump.vcd"),
)
SOME_OPTIONS = (
    *(
        "--out",
        "--seed",
        "--policy",
        "--profile",
        "--sim",
        "--suite",
        "--map",
        "--strict",
        "--json",
    ),
    *("--from", "--to", "--format", "--around", "--points", "--cases", "--seconds", "--check"),
    *("--drive-speed", "--host-speed", "--rate", "--sync", "--sectors", "--size", "--top"),
    *(
        "--programs",
        "--picture",
        "--svg",
        "--draft",
        "--include",
        "--define",
        "--quiet",
        "--live",
        "--strict",
    ),
)


def broken_words(words: list[str], rng: random.Random) -> list[str]:
    """Return the words of a command with one to three changes."""
    words = list(words)
    for _ in range(rng.choice((1, 1, 2, 3))):
        words = _changed(words, rng)
    return words


def _changed(words: list[str], rng: random.Random) -> list[str]:
    at = rng.randrange(len(words)) if words else 0
    before, after = words[:at], words[at + 1 :]
    here = words[at : at + 1]
    how = rng.randrange(8)
    if how == 0:
        return before + after
    if how == 1:
        return before + here + here + after
    if how == 2 and len(words) > 1:
        other = rng.randrange(len(words))
        words[at], words[other] = words[other], words[at]
        return words
    if how == 3 and here:
        return [*before, here[0][:-1] + rng.choice("xyz="), *after]
    if how == 4:
        return [*words, rng.choice(SOME_OPTIONS), rng.choice(ODD_VALUES)]
    if how == 5:
        return [*words, rng.choice(SOME_OPTIONS)]
    return [*before, rng.choice(ODD_VALUES), *after]
