"""Holds JSON to the form that its published schema is made from."""

import json

from pydantic import TypeAdapter


def formed(form, text):
    """Return JSON, of which every key is in its form; raise AssertionError or ValidationError.

    The form is what `docs/reference` publishes. Validation leaves out a key that is not in it.
    """
    adapter = TypeAdapter(form)
    known = json.loads(adapter.dump_json(adapter.validate_json(text, strict=True)))
    data = json.loads(text)
    assert data == known
    return data
