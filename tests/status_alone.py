"""A binding that leaves the core's own transfers out: what is not bound is not played."""

import yaml


def status_alone(path):
    """Write a copy of a binding for the status register alone beside it; return its path."""
    binding = yaml.safe_load(path.read_text(encoding="utf-8"))
    tie = binding.setdefault("tie", {})
    tied = {**binding.pop("gates"), "slot": binding["memory"]["slot"]}
    for role, pin in tied.items():
        port, active = (pin["port"], pin["active"]) if isinstance(pin, dict) else (pin, "high")
        tie[port] = int((role != "slot") == (active == "high"))
    tie[binding.pop("memory")["data_in"]] = 0
    del binding["lines"]
    left = [binding["bus"]["registers"].pop(name) for name in ("transfer", "control")]
    halves = [place.values() if isinstance(place, dict) else [place] for place in left]
    binding["bus"]["others"] = [address for places in halves for address in places]
    alone = path.with_name("status_alone.yaml")
    alone.write_text(yaml.safe_dump(binding), encoding="utf-8")
    return alone
