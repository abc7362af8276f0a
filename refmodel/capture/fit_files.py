"""What a fit leaves: a profile ready to use, the findings as JSON, and what to capture next."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

import yaml
from rich.console import Console
from rich.table import Table
from rich.text import Text

from refmodel.block.settings import Policies
from refmodel.capture.fit import CONTRADICTED, NOT_EXERCISED, Fitted, Question, Value
from refmodel.capture.fit_form import ContradictionForm, FitForm
from refmodel.capture.next_capture import Plan
from refmodel.capture.reading import NUMBERS, Reading
from refmodel.engine.finding import Finding
from refmodel.ground.yamlfile import load
from refmodel.profile import Profile
from refmodel.report.words import access_text, headline

STYLES = {CONTRADICTED: "red", NOT_EXERCISED: "yellow"}
PROFILE, MAP, NEXT, FINDINGS = "profile.yaml", "map.yaml", "next.md", "fit.json"
KEPT = ("clock_hz", "channel_bit_ns", "layout", "reset", "fifo_words", "slots", "write_bit_cycles")


def show_fit(console: Console, fitted: Fitted, plan: Plan, profile: Profile) -> None:
    """Print a row a question, then what to capture next."""
    if not fitted.holds:
        finding = fitted.best.finding
        assert finding is not None
        _line(console, summary(fitted))
        _line(console, f"The best one holds up to cycle {finding.mismatch.cycle}:")
        _line(console, f"  {headline(finding, profile.status)} ({finding.cause.clause})")
        return
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for name in ("question", "answer", "value", "verdict", "first contradiction"):
        table.add_column(name, overflow="fold")
    for question in fitted.questions:
        shown = [v for v in question.values if v.verdict != CONTRADICTED or _shown_out(question)]
        for n, value in enumerate(shown):
            head = (question.name, _answer(question)) if not n else ("", "")
            why = contradiction(value, profile)
            verdict = Text(value.verdict, STYLES.get(value.verdict, "green"))
            table.add_row(*head, value.value, verdict, why)
    console.print(table)
    console.print()
    _line(console, summary(fitted))
    lines = list(plan.described(fitted.best.reading))
    if lines:
        _line(console, "Capture next:")
    for line in lines:
        _line(console, f"  {line}")


def summary(fitted: Fitted) -> str:
    """Return what came of it in one line."""
    if not fitted.holds:
        return "No reading of the policies and depths explains this capture."
    return f"{_decided(fitted)} of {len(fitted.questions)} questions are decided"


def _shown_out(question: Question) -> bool:
    """Tell whether the places that do not hold are listed, too; of a layout they are not."""
    return not question.name.startswith("layout.")


def _decided(fitted: Fitted) -> int:
    return len(fitted.questions) - len(fitted.open)


def _answer(question: Question) -> str:
    return question.answer if question.decided else f"{question.answer}?"


def contradiction(value: Value, profile: Profile) -> str:
    """Say which access first contradicts an answer."""
    finding = value.finding
    if finding is None:
        return value.note
    at = f"cycle {finding.mismatch.cycle}: {headline(finding, profile.status)}"
    return f"{at}; {_access(finding, profile)}" if finding.accesses else at


def _access(finding: Finding, profile: Profile) -> str:
    return f"last access: {access_text(finding.accesses[-1], profile.status)}"


def _line(console: Console, text: str) -> None:
    console.print(text, markup=False, highlight=False, soft_wrap=True)


def fit_json(fitted: Fitted, plan: Plan, profile: Profile) -> FitForm:
    """Return the findings as plain data."""
    return {
        "holds": fitted.holds,
        "questions": {
            q.name: {
                "answer": q.answer,
                "decided": q.decided,
                "values": {
                    v.value: {"verdict": v.verdict, "first_contradiction": _place(v, profile)}
                    for v in q.values
                },
            }
            for q in fitted.questions
        },
        "next": [
            {"question": n.question, "value": n.value, "scenario": n.scenario, "cycle": n.cycle}
            for n in plan.chosen
        ],
        "beyond": list(plan.beyond),
    }


def _place(value: Value, profile: Profile) -> ContradictionForm | None:
    finding = value.finding
    if finding is None:
        return None
    d = finding.mismatch
    return {
        "cycle": d.cycle,
        "field": d.field,
        "expected": d.expected,
        "observed": d.observed,
        "clause": finding.cause.clause,
        "access": _access(finding, profile) if finding.accesses else None,
    }


def profile_text(fitted: Fitted, base: Profile, captures: Sequence[str]) -> str:
    """Return a profile file with the answers found, each with how sure it is."""
    profile = fitted.best.reading.profile(base)
    data = profile.model_dump(mode="json")
    shown = {key: data[key] for key in KEPT if data[key] not in (None, {})}
    shown["clock_hz"] = str(profile.clock_hz)
    shown["separator"] = json.loads(profile.separator.model_dump_json())
    lines = [
        f"# Fitted to {', '.join(captures)}; an answer marked `open` is a guess, not a finding.",
        "name: fitted",
        yaml.safe_dump(shown, sort_keys=False, default_flow_style=None).rstrip(),
        *(_answer_line(q, "") for q in fitted.questions if q.name in NUMBERS),
        "policies:",
        *(_answer_line(q, "  ") for q in fitted.questions if q.name in Policies.model_fields),
    ]
    depths = [q for q in fitted.questions if "latency" in q.name and q.answer != "0"]
    lines += [f"# key of the binding: {q.name}: {q.answer}" for q in depths]
    return "\n".join(lines) + "\n"


def map_text(reading: Reading, given: Path) -> str | None:
    """Return the map with the profile and the depths found; None for that of a log."""
    data = load(given).data
    if not isinstance(data, dict) or "log" in data:
        return None
    data = {**data, "profile": f"./{PROFILE}"}
    data.pop("policies", None)
    for question, value in reading.answers:
        part, _, key = question.partition(".")
        own = data.get(part) or {}
        if "latency" in question and (value != "0" or key in own):
            data[part] = {**own, key: int(value)}
    return "# The map of the fit, with the depths it found.\n" + yaml.safe_dump(
        data, sort_keys=False, default_flow_style=None
    )


def _answer_line(question: Question, indent: str) -> str:
    sure = "found" if question.decided else "open"
    return f"{indent}{question.name}: {question.answer}  # {sure}"


def files_of_fit(
    fitted: Fitted,
    plan: Plan,
    base: Profile,
    captures: Sequence[str],
    given: Path,
) -> Iterator[tuple[str, str]]:
    """Yield the findings, the profile, the map, and what to capture next: names and texts."""
    profile = fitted.best.reading.profile(base)
    yield FINDINGS, json.dumps(fit_json(fitted, plan, profile), indent=1) + "\n"
    if not fitted.holds:
        return
    yield PROFILE, profile_text(fitted, base, captures)
    text = map_text(fitted.best.reading, given)
    if text is not None:
        yield MAP, text
    for path in dict.fromkeys(one.path for one in plan.chosen):
        yield f"next-{path.name}", path.read_text(encoding="utf-8")
    lines = ["# What to capture next", "", *(f"- {t}" for t in plan.described(fitted.best.reading))]
    yield NEXT, "\n".join(lines) + "\n"
