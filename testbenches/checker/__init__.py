"""A passive checker for a cocotb bench of the user's own: it samples, and never drives.

from testbenches.checker import Checker

@cocotb.test()
async def my_test(dut):
    Checker(dut, "binding.yaml")  # first thing in the test
    ...
"""

from testbenches.checker.checker import Checker, CheckFailedError

__all__ = ["CheckFailedError", "Checker"]
