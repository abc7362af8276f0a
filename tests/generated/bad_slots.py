"""Every place where a command takes a file: the command, the file, and the form of the file."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

import typer
from break_words import ODD_VALUES

from refmodel.cli.main import COMMANDS, app

RUN = "run reference/binding.yaml --sim icarus --out out"
VECTORS = "vectors scenario.yaml --out new"


@dataclass(frozen=True)
class Slot:
    """A command that is good until `file`, of the form `kind`, is broken.

    `told` are other names a message may tell of the file by; `made` says that a file that is not
    there is made, or not missed.
    """

    words: str
    file: str
    kind: str
    told: tuple[str, ...] = ()
    made: bool = False


SLOTS = (
    # a binding
    Slot(f"{RUN} --suite scenario.yaml", "reference/binding.yaml", "binding"),
    Slot(f"{VECTORS} --binding reference/binding.yaml", "reference/binding.yaml", "binding"),
    Slot("hunt reference/binding.yaml --workers 1 --out out", "reference/binding.yaml", "binding"),
    Slot("mutate reference/binding.yaml --out out", "reference/binding.yaml", "binding"),
    Slot("prove reference/binding.yaml --out out", "reference/binding.yaml", "binding"),
    Slot(
        "prove reference/own.yaml --against reference/binding.yaml",
        "reference/binding.yaml",
        "binding",
    ),
    Slot("protect reference/binding.yaml --out out", "reference/binding.yaml", "binding"),
    Slot("margin flux/counter.yaml --points 2 --out out", "flux/counter.yaml", "binding"),
    # a scenario
    Slot(f"{RUN} --suite scenario.yaml", "scenario.yaml", "scenario"),
    Slot(f"{RUN} --suite suite --live", "suite/tiny_block.yaml", "scenario"),
    Slot(f"{RUN} --suite quick/sync_poll --after scenario.yaml", "scenario.yaml", "scenario"),
    Slot("mutate reference/binding.yaml --suite turning.yaml", "turning.yaml", "scenario"),
    Slot(VECTORS, "scenario.yaml", "scenario"),
    Slot("trace turning.yaml --out out.txt", "turning.yaml", "scenario"),
    Slot("explain separated.yaml --around byte:1 --svg out.svg", "separated.yaml", "scenario"),
    Slot("track captured.yaml --out out.svg", "captured.yaml", "scenario"),
    Slot("trace image.yaml --format json", "image.yaml", "scenario"),
    # a profile
    Slot("trace scenario.yaml --profile profile.yaml", "profile.yaml", "profile"),
    Slot("margin profile.yaml --points 2 --out out", "profile.yaml", "profile"),
    Slot("prove profile.yaml --out out", "profile.yaml", "profile"),
    Slot("track flux.txt --rate 24000000 --profile profile.yaml", "profile.yaml", "profile"),
    Slot("run reference/own.yaml --suite scenario.yaml", "profile.yaml", "profile"),
    Slot("check dump.vcd --map own_map.yaml --out out", "profile.yaml", "profile"),
    # other files in YAML
    Slot("protect reference/binding.yaml --check check.yaml --rates 1", "check.yaml", "check"),
    Slot("link plan.yaml --svg out.svg", "plan.yaml", "plan"),
    Slot("wire wire/wire.yaml --vcd out.vcd", "wire/wire.yaml", "wire"),
    Slot("check dump.vcd --map map.yaml --out out", "map.yaml", "map"),
    Slot("fit dump.vcd --map map.yaml --out out", "map.yaml", "map"),
    Slot("check log.txt --map log_map.yml --out out", "log_map.yml", "log map"),
    Slot("bind core.eda.yml --out out.yaml", "core.eda.yml", "metadata", (".v:",)),
    # captures
    Slot("check dump.vcd --map map.yaml --out out", "dump.vcd", "text"),
    Slot("check dump.vcd --draft --out out.yaml", "dump.vcd", "text"),
    Slot("fit dump.vcd --map map.yaml --out out", "dump.vcd", "text"),
    Slot("check dump.fst --map map.yaml --out out", "dump.fst", "binary"),
    Slot("check samples.csv --map samples.yaml --out out", "samples.csv", "text"),
    Slot("check log.txt --map log_map.yml --out out", "log.txt", "text"),
    Slot("check log.txt --map log_map.yml --out out", "logged.txt", "text"),
    Slot("track flux.txt --rate 24000000 --out out.svg", "flux.txt", "text"),
    Slot("trace captured.yaml", "flux.txt", "text"),
    Slot("track flux.npy --out out.svg", "flux.npy", "binary"),
    Slot("track flux.npz --json", "flux.npz", "binary"),
    Slot("track disk.img --sectors 2 --out out.png", "disk.img", "image"),
    Slot("trace image.yaml --out out.txt", "disk.img", "image"),
    # sources, lists of them, and programs
    Slot("bind reference/byte_framer.v --out out.yaml", "reference/byte_framer.v", "verilog"),
    Slot("bind reference --out out.yaml", "reference/byte_framer.v", "verilog"),
    Slot(
        f"{VECTORS} --binding reference/binding.yaml",
        "reference/sync_window.v",
        "verilog",
        ("binding.yaml",),
    ),
    Slot("bind vhdl --top status_core --out out.yaml", "vhdl/block_types.vhd", "vhdl"),
    Slot("bind files.f --top disk_regs --out out.yaml", "files.f", "list", (".v:",)),
    Slot("trace own.yaml --programs programs.py --out out.txt", "programs.py", "python"),
    Slot(f"{RUN} --suite own.yaml --programs programs.py", "programs.py", "python"),
    # what Cellstep wrote
    Slot("explain results --around byte:1 --svg out.svg", "results/result.json", "json"),
    Slot("trace results --out out.txt", "results/result.json", "json"),
    Slot("explain results --around byte:1", "results/spans.jsonl", "json", ("results",), True),
    Slot("history --history runs.sqlite --out out.html", "runs.sqlite", "history"),
    Slot("history --history new.sqlite --merge runs.sqlite", "runs.sqlite", "history"),
    Slot(f"{RUN} --suite scenario.yaml --history runs.sqlite", "runs.sqlite", "history", (), True),
)
GOOD_WORDS = {  # of each command: words that are good, to which an option is added
    "demo": "demo",
    "bind": "bind reference",
    "run": "run reference/binding.yaml --suite scenario.yaml --sim icarus",
    "protect": "protect reference/binding.yaml --check sync_window",
    "margin": "margin profile.yaml",
    "wire": "wire wire/wire.yaml",
    "vectors": "vectors scenario.yaml --out new",
    "hunt": "hunt reference/binding.yaml --workers 1 --cases 1",
    "mutate": "mutate reference/binding.yaml --suite scenario.yaml",
    "prove": "prove reference/binding.yaml",
    "history": "history --history runs.sqlite",
    "check": "check dump.vcd --map map.yaml",
    "fit": "fit samples.csv --map samples.yaml",
    "track": "track flux.txt",
    "link": "link plan.yaml",
    "trace": "trace scenario.yaml",
    "explain": "explain scenario.yaml",
    "lesson": "lesson mark --out out",
    "doctor": "doctor",
}
OUT_OF_PLACE = (  # where results cannot go
    *("/dev/null/x", "/proc/x", "scenario.yaml/x", "scenario.yaml", "reference", "a" * 300),
    *("no/such/folder/x.svg", "/dev/full", "."),
)


def options_of(command: str) -> Iterator[tuple[str, bool]]:
    """Yield the options of a command, and whether each takes a value."""
    found = typer.main.get_command(app).commands[command]  # type: ignore[attr-defined]
    for parameter in found.make_context(command, [], resilient_parsing=True).command.params:
        if parameter.param_type_name == "option" and parameter.name != "help":
            yield parameter.opts[0], not parameter.is_flag


def odd_option(number: int, rng: random.Random) -> tuple[str, list[str]]:
    """Return an option of one of the commands, and a command line that gives it an odd value."""
    command = list(COMMANDS)[number % len(COMMANDS)]
    option, takes_value = rng.choice(list(options_of(command)))
    words = GOOD_WORDS[command].split()
    of_output = option in ("--out", "--svg", "--vcd", "--wavejson")
    value = rng.choice(OUT_OF_PLACE if of_output else ODD_VALUES)
    if not takes_value:
        return option, [*words, f"{option}={value}"]
    return option, [*words, option, value]
