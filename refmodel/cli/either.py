"""What an argument names that may be a profile or a binding."""

from __future__ import annotations

from pathlib import Path


def names_profile(name: str) -> bool:
    """Return whether it is a shipped profile, or a file with more keys of one than of a binding."""
    from refmodel.ground.yamlfile import load
    from refmodel.profile import Profile, profile_names
    from testbenches.binding.schema import Binding

    path = Path(name)
    if name in profile_names() or path.suffix not in (".yaml", ".yml"):
        return True
    data = load(path).data
    if not isinstance(data, dict):
        return False
    own, other = ({*data} & {*schema.model_fields} for schema in (Profile, Binding))
    return len(own) > len(other)
