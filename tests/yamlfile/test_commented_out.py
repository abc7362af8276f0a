"""A key of a binding under which every line is still a comment, as a draft leaves it."""

import pytest

from refmodel.errors import InputError
from testbenches.binding.schema import load_binding


def test_commented_out(tmp_path):
    """The message says that the lines below the key may be comments."""
    path = tmp_path / "binding.yaml"
    path.write_text("core: {top: x, sources: [x.v]}\ndisk:\n  # strobe: stb\n")
    with pytest.raises(InputError) as caught:
        load_binding(path)
    said = "disk: an empty value should be a mapping; are the lines below it comments?"
    assert f"{path}:2:1: {said}" in str(caught.value)
