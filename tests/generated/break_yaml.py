"""Ways to break a YAML file: as text, and as data written out again."""

from __future__ import annotations

import copy
import datetime
import math
import random
from collections.abc import Callable, Iterator
from typing import Any

from break_text import TEXT_BREAKS, Break, insert, lines

Place = tuple[Any, ...]  # the keys and indexes that lead to a value
VALUES: tuple[Any, ...] = (
    *("", "text", "no", "0x", "1e3", "1/0", "NaN", "a b", "ü", "x" * 5000, "\x1b[31m", "$(x)"),
    *(0, 1, -1, 7, 16, 1 << 31, 1 << 63, 10**30, -(10**30)),
    *(0.0, -0.5, 1.5, 1e300, 5e-324, math.nan, math.inf, -math.inf),
    *(True, False, None, [], [1], [[]], ["a", None], {}, {"a": 1}, {1: 2}),
    datetime.date(2031, 2, 28),
    datetime.datetime(2031, 2, 28, 12, 30),
    b"\0\1",
)
HUGE = (1_000_000, 1 << 31, 1 << 32, 10**12, (1 << 63) - 1, (1 << 64) - 1, -(1 << 63))
PATHS = (
    *(
        "/",
        "..",
        ".",
        "/etc/passwd",
        "../" * 30 + "etc/passwd",
        "none.yaml",
        "~",
        "a\nb",
        "a" * 300,
    ),
    *("**/*", "*", "[", "/dev/null", "/proc/self/mem", "-", "--help", "file:///x", "\\\\a\\b"),
)


def places(data: Any, above: Place = ()) -> Iterator[Place]:
    """Yield where each value of nested data stands, the whole first."""
    yield above
    if isinstance(data, dict | list):
        for key in data if isinstance(data, dict) else range(len(data)):
            yield from places(data[key], (*above, key))


def at(data: Any, place: Place) -> Any:
    """Return the value at a place."""
    for key in place:
        data = data[key]
    return data


def put(data: Any, place: Place, value: Any) -> Any:
    """Return a copy of the data with another value at a place."""
    if not place:
        return value
    changed = copy.deepcopy(data)
    at(changed, place[:-1])[place[-1]] = copy.deepcopy(value)
    return changed


def _some_place(data: Any, rng: random.Random) -> Place:
    """Return a place below the top."""
    return rng.choice(list(places(data))[1:])


def retype(data: Any, rng: random.Random) -> Any:
    """Put a value of another kind, or far off, in place of one."""
    return put(data, _some_place(data, rng), rng.choice(VALUES))


def retype_all(data: Any, rng: random.Random) -> Any:
    """Put one value in place of the whole file."""
    del data
    return rng.choice(VALUES)


def nudge(data: Any, rng: random.Random) -> Any:
    """Change one number or one text a little."""
    found = [p for p in places(data) if isinstance(at(data, p), int | str)]
    place = rng.choice(found)
    old = at(data, place)
    if isinstance(old, bool):
        return put(data, place, not old)
    if isinstance(old, int):
        return put(data, place, rng.choice((old + 1, old - 1, -old, old * 3, old + 100)))
    cut = rng.randrange(len(old) + 1)
    return put(data, place, rng.choice((old[:cut], old[:cut] + "x" + old[cut:], old.upper())))


def delete(data: Any, rng: random.Random) -> Any:
    """Take away one key or item."""
    place = _some_place(data, rng)
    changed = copy.deepcopy(data)
    del at(changed, place[:-1])[place[-1]]
    return changed


def swap(data: Any, rng: random.Random) -> Any:
    """Let two values change places."""
    one, other = rng.choice(list(places(data))[1:]), rng.choice(list(places(data))[1:])
    if one == other[: len(one)] or other == one[: len(other)]:
        return put(data, one, at(data, one[:-1]))  # inside each other: the outer one twice
    return put(put(data, one, at(data, other)), other, at(data, one))


def swap_beside(data: Any, rng: random.Random) -> Any:
    """Let two values of one mapping or list change places."""
    found = [
        p for p in places(data) if isinstance(at(data, p), dict | list) and len(at(data, p)) > 1
    ]
    above = rng.choice(found)
    inner = at(data, above)
    one, other = rng.sample(list(inner) if isinstance(inner, dict) else range(len(inner)), 2)
    changed = put(data, (*above, one), inner[other])
    return put(changed, (*above, other), inner[one])


def misspell(data: Any, rng: random.Random) -> Any:
    """Change one key."""
    found = [p for p in places(data) if p and isinstance(at(data, p[:-1]), dict)]
    place = rng.choice(found)
    changed = copy.deepcopy(data)
    above = at(changed, place[:-1])
    key = str(place[-1])
    above[rng.choice((key[:-1], key + "s", key.upper(), "", key[1:] + key[0]))] = above.pop(key)
    return changed


def add(data: Any, rng: random.Random) -> Any:
    """Put a key beside others, sometimes one that stands elsewhere in the file."""
    found = [p for p in places(data) if isinstance(at(data, p), dict)]
    keys = [p[-1] for p in places(data) if p and isinstance(p[-1], str)]
    place = rng.choice(found)
    return put(data, (*place, rng.choice([*keys, "surplus"])), rng.choice(VALUES))


def repath(data: Any, rng: random.Random) -> Any:
    """Put an absolute, parent or impossible path in place of a text."""
    found = [p for p in places(data) if isinstance(at(data, p), str)]
    return put(data, rng.choice(found), rng.choice(PATHS))


def grow(data: Any, rng: random.Random) -> Any:
    """Make a list, mapping or text very long."""
    found = [p for p in places(data) if p and isinstance(at(data, p), list | str)]
    place = rng.choice(found)
    return put(data, place, at(data, place) * 3000)


def magnify(data: Any, rng: random.Random) -> Any:
    """Put a number no run can have in place of one."""
    found = [p for p in places(data) if type(at(data, p)) in (int, float)]
    if not found:
        return retype(data, rng)
    return put(data, rng.choice(found), rng.choice(HUGE))


SUBTLE = (  # they often leave what can be run
    *("retype", "retype", "nudge", "nudge", "swap_beside", "swap_beside"),
    *("delete", "swap", "add", "repath", "magnify"),
)
DATA_BREAKS: dict[str, Callable[[Any, random.Random], Any]] = {
    "retype": retype,
    "retype_all": retype_all,
    "nudge": nudge,
    "delete": delete,
    "swap": swap,
    "swap_beside": swap_beside,
    "misspell": misspell,
    "add": add,
    "repath": repath,
    "grow": grow,
    "magnify": magnify,
}


def _value_of_a_line(form: str) -> Break:
    """Return a break that puts a text in place of what follows the first colon of a line."""

    def broken(text: str, rng: random.Random) -> bytes:
        lines = text.splitlines(keepends=True)
        n = rng.choice([n for n, line in enumerate(lines) if ":" in line.split("#")[0]])
        head, _, tail = lines[n].partition(":")
        lines[n] = f"{head}: {form.format(tail=tail.strip() or 'x')}\n"
        return "".join(lines).encode()

    return broken


def _a_key_twice(text: str, rng: random.Random) -> bytes:
    """Write a key of the top again, at the end."""
    keys = [line for line in text.splitlines() if line[:1].isalpha()]
    return f"{text}{rng.choice(keys).partition(':')[0]}: 1\n".encode()


BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n"
YAML_BREAKS: dict[str, Break] = TEXT_BREAKS | {
    "colon": insert(b": "),
    "tab": lines(lambda found, n, _: [*found[:n], "\t" + found[n], *found[n + 1 :]]),
    "indent": lines(lambda found, n, _: [*found[:n], "  " + found[n], *found[n + 1 :]]),
    "key_twice": _a_key_twice,
    "second_document": lambda text, _: f"{text}---\n{text}".encode(),
    "alias": _value_of_a_line("&a {tail}"),
    "anchors": lambda text, _: (text + BOMB).encode(),
    "merge": lambda text, _: f"{text}<<: {{name: x}}\n".encode(),
    "tag": _value_of_a_line("!!python/object/apply:os.system [echo]"),
    "own_tag": _value_of_a_line("!include {tail}"),
    "huge_number": _value_of_a_line("9" * 5000),
    "hex_number": _value_of_a_line("0x" + "f" * 5000),
    "binary_tag": _value_of_a_line("!!binary aGVsbG8="),
    "float_tag": _value_of_a_line("!!float x"),
    "set_tag": _value_of_a_line("!!set {{a, b}}"),
    "block_text": _value_of_a_line("|\n  {tail}"),
    "list_key": _value_of_a_line("{{[1, 2]: 3}}"),
    "half_character": _value_of_a_line('"\\ud800"'),
    "deep": _value_of_a_line("[" * 3000),
    "deep_whole": _value_of_a_line("[" * 3000 + "]" * 3000),
    "deep_lines": lambda text, _: (text + "".join(f"{' ' * n}a:\n" for n in range(900))).encode(),
    "comments": lambda text, _: "".join(f"# {line}\n" for line in text.splitlines()).encode(),
}
MUST_FAIL = {  # no reader may take what one of these leaves for good
    *("odd_byte", "null_byte", "utf_16", "half_character", "hex_number", "key_twice", "empty"),
    *("second_document", "anchors", "merge", "tag", "own_tag", "binary_tag", "float_tag"),
    *("set_tag", "list_key", "deep", "deep_whole", "deep_lines", "comments", "noise"),
}
