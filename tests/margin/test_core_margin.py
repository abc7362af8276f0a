"""A core's own separator in a margin sweep: the same trials as the models, in a simulator."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

import hdl_stubs
from refmodel.cli.main import app
from refmodel.ground.errors import CannotRun, UserError
from refmodel.margin import limits
from refmodel.margin.pattern import Condition, data_pattern, pulses_across_gap, pulses_of
from refmodel.margin.subject import Model
from refmodel.margin.sweep import clock_of, plan, run_jobs, sweep
from refmodel.media.flux_defects import NoFlux
from testbenches.binding.load import load_binding
from testbenches.toolchain import available
from testbenches.trials import CoreSubject

STUBS = Path(hdl_stubs.__file__).parent
FLUX = STUBS / "flux"


def core(name, simulator, **parameters):
    """Return a core that ships, perhaps with other parameters, and the model it claims."""
    binding = load_binding(FLUX / f"{name}.yaml")
    binding.core.parameters.update(parameters)
    profile = binding.load_profile()
    return CoreSubject(binding, profile, simulator, 1), Model.of(profile, name)


def trials(clock):
    """Yield pulses of many kinds: clean, fast and slow with jitter, shifted, across a gap."""
    pattern = data_pattern(clock.bit_ns, 300, 1)
    yield pulses_of(pattern, clock, Condition(), 1)
    for speed, jitter in ((5.0, 100.0), (-9.0, 300.0), (12.0, 0.0)):
        yield pulses_of(pattern, clock, Condition(speed, jitter, splice=0.25), 2)
    yield pulses_of(data_pattern(clock.bit_ns, 300, 1, 3500.0), clock, Condition(2.0, 50.0), 3)
    gap = NoFlux(first_bit=pattern.data_bit + 400, bits=400)
    yield pulses_across_gap(pattern, clock, Condition(-3.0), 4, gap)


@pytest.mark.parametrize("name", ["counter", "second_order"])
def test_a_core_puts_each_pulse_into_the_window_of_its_model(name, simulator):
    """In every trial, right or wrong, core and model count the same windows up to each pulse."""
    subject, model = core(name, simulator)
    clock = clock_of(load_binding(FLUX / f"{name}.yaml").load_profile())
    with subject:
        for pulses in trials(clock):
            assert np.array_equal(model.windows(pulses.cycle), subject.windows(pulses.cycle))
            assert len(pulses.cycle) > 1000


@pytest.mark.rest
def test_a_core_gives_the_points_of_its_model():
    """What is measured of a core and of its model are the same numbers."""
    subject, model = core("counter", available()[-1])
    clock = clock_of(load_binding(FLUX / "counter.yaml").load_profile())
    chosen = {("counter", "speed", 1), ("counter", "relock")}
    jobs = [job for job in plan(model, clock, 1, 2) if job.key in chosen]
    with subject:
        here = [replace(job, arguments=(subject, *job.arguments[1:])) for job in jobs]
        assert run_jobs(jobs, 0) == run_jobs(here, 0)
    assert len(chosen) == len(jobs)


@pytest.mark.long
def test_a_core_without_its_integral_part_is_told_apart():
    """Without it the loop is no longer right on a disk 12 % fast: the speed tolerance says so."""
    found = {}
    for ki in (None, 0):
        subject, _ = core("second_order", available()[-1], **({} if ki is None else {"KI": ki}))
        clock = clock_of(load_binding(FLUX / "second_order.yaml").load_profile())
        with subject:
            found[ki] = limits.speed_tolerance(subject, clock, 1, 1, Condition())
    assert found[None] > 12
    assert found[0] < found[None] - 3


def result_of(*names):
    """Return a result in which these separators have the same numbers."""
    profile = load_binding(FLUX / "counter.yaml").load_profile()
    one = sweep(profile, [Model.of(profile, "rephase")], 1, 2, workers=0)
    (subject,) = one.subjects
    return replace(one, subjects=tuple(replace(subject, name=name) for name in names))


@pytest.mark.rest
def test_the_command_holds_a_core_to_the_model_it_claims(monkeypatch):
    """Equal numbers end with 0, one that differs with 1; both are said below the table."""
    same = result_of("counter", "core flux_regs")
    found = {"result": same}
    monkeypatch.setattr("refmodel.margin.sweep.sweep", lambda *_, **__: found["result"])
    arguments = ["margin", str(FLUX / "counter.yaml"), "--separator", "counter"]
    done = CliRunner().invoke(app, arguments)
    assert (0, True) == (done.exit_code, "gives the same numbers as the model" in done.output)
    model, own = same.subjects
    other = replace(own, limits=replace(own.limits, lock_ns=1.0))
    found["result"] = replace(same, subjects=(model, other))
    done = CliRunner().invoke(app, arguments)
    assert (1, True) == (done.exit_code, "differs from the model it claims" in done.output)


def test_a_core_may_be_called_like_a_model(tmp_path):
    """A core whose top is `counter` is still another subject: it is not compared with itself."""
    small_core(tmp_path, "")
    for file in ("core.v", "binding.yaml"):
        text = (tmp_path / file).read_text()
        for old, new in (("module core", "module counter"), ("top: core", "top: counter")):
            text = text.replace(old, new)
        (tmp_path / file).write_text(text)
    binding = load_binding(tmp_path / "binding.yaml")
    subject = CoreSubject(binding, binding.load_profile(), available()[-1], 1)
    model = Model.of(binding.load_profile(), "counter")
    clock = clock_of(binding.load_profile())
    keys = [{job.key for job in plan(s, clock, 1, 2)} for s in (subject, model)]
    assert not keys[0] & keys[1]


def test_a_core_that_takes_channel_bits_has_no_margin():
    """The message says what is missing in the binding."""
    binding = load_binding(STUBS / "reference" / "binding.yaml")
    with pytest.raises(UserError, match="disk: the core takes channel bits; a margin needs a core"):
        CoreSubject(binding, binding.load_profile(), "icarus", 1)


def small_core(folder, body):
    """Return a core of one clocked statement, bound with a separator of its own."""
    (folder / "core.v").write_text(
        "module core(input clk, rst, rdata_n, output reg stb, bit_out);\n"
        f"  always @(posedge clk) begin stb <= 0; bit_out <= 0; {body} end\n"
        "endmodule\n"
    )
    (folder / "binding.yaml").write_text(
        "core: {top: core, sources: [core.v]}\nprofile: pal_dd\nclock: {port: clk}\n"
        "reset: {port: rst}\ndisk: {flux: rdata_n, active: low}\n"
        "observe: {channel_bit: {strobe: stb, value: bit_out}}\n"
    )
    return load_binding(folder / "binding.yaml")


def test_a_core_that_ends_the_simulation_is_told_so(tmp_path, simulator):
    """A $finish in the core ends the sweep with the simulator's own words."""
    binding = small_core(tmp_path, "if (!rdata_n) $finish;")
    with (
        CoreSubject(binding, binding.load_profile(), simulator, 1) as subject,
        pytest.raises(CannotRun, match="core: the simulation ended"),
    ):
        subject.windows(np.array([1000, 2000]))


def test_a_core_that_does_not_build_is_told_so(tmp_path, simulator):
    """What elaborates but cannot be built ends before the first trial, with file and line."""
    binding = small_core(tmp_path, "$no_such_task_anywhere(stb);")
    subject = CoreSubject(binding, binding.load_profile(), simulator, 1)
    with pytest.raises(
        CannotRun, match=r"core: the (core does not build|simulation ended):\n.*core"
    ):
        subject.__enter__()
