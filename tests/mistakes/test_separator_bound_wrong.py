"""Where a separator is bound wrongly, no change that has nothing to do with it is named."""


def test_nothing_is_said_to_agree_on_what_the_separator_delivers(core):
    """Policies and latencies of the block do not change which channel bits are right."""
    one = core("flux", "counter.yaml").bind(("pulse_latency: 2", "pulse_latency: 3"))
    done = one.run(suite="flux/broken")
    assert 1 == done.returncode, done.stdout + done.stderr
    first = one.result["runs"][0]["first_mismatch"]
    assert ("channel_bit", []) == (first["field"], first["tried"])
    assert "agrees with" not in done.stdout
