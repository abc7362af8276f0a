"""Sources that grow without end as they are read are refused before they take the machine."""

import pytest


def doubling(count):
    """Return macros each of which holds the one before twice, and a module that uses the last."""
    macros = [
        "`define A0 wire [7:0] x;",
        *(f"`define A{n} `A{n - 1} `A{n - 1}" for n in range(1, count)),
    ]
    return "\n".join((*macros, f"module boom; `A{count - 1} endmodule", ""))


@pytest.mark.rest
def test_macros_that_double_themselves_are_refused(core):
    """A source of 40 lines that stands for 2^39 declarations ends in 125 with a message."""
    made = core()
    path = made.folder / "boom.v"
    path.write_text(doubling(40))
    done = made.run_apart()
    assert 125 == done.returncode
    assert "reading the sources took more than" in done.stderr
    assert "boom.v" in done.stderr


def test_a_macro_used_a_few_times_is_read(core):
    """Macros that hold others are no fault."""
    made = core()
    (made.folder / "small.v").write_text(doubling(2).replace(" `A0 `A0", " `A0"))
    assert 0 == made.run().returncode
