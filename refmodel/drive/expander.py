"""A two-bank 16-bit port expander as a target on the two-wire bus: it answers edge by edge.

Registers 0 and 1 are the inputs, 2 and 3 the outputs, 4 and 5 turn inputs over, 6 and 7 say which
pins are inputs; each further byte of a transfer goes to the other register of the pair (data sheet
of the PCA9555, SCPS131J, 8.5.2, and NXP's, page 6). An output changes when its byte has been
acknowledged; the inputs are sampled when the byte before theirs has been.
"""

from __future__ import annotations

from collections.abc import Callable

INPUTS, OUTPUTS, TURNED, DIRECTIONS = 0, 2, 4, 6
Look = Callable[[int], int]  # the pins of a bank


class Expander:
    """The target at `address`; `look(bank)` says what its pins are.

    `deaf` makes it acknowledge nothing.
    """

    def __init__(self, address: int, look: Look = lambda _bank: 0xFF, deaf: bool = False) -> None:
        self.address, self._look, self._deaf = address, look, deaf
        self.registers = [0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0xFF, 0xFF]
        self.pulls = 0  # 1: it holds SDA low
        self._pointer = 0
        self._state = "idle"
        self._bits: list[int] = []
        self._scl = self._sda = 1
        self._send = 0

    @property
    def outputs(self) -> int:
        """What it drives: bank 1 in the high byte."""
        return self.registers[OUTPUTS + 1] << 8 | self.registers[OUTPUTS]

    def edge(self, scl: int, sda: int) -> int:
        """Take what the wires are now; return 1 to hold SDA low, 0 to let go."""
        before, self._scl, self._sda = (self._scl, self._sda), scl, sda
        if before[0] and scl and before[1] != sda:
            self._state = "idle" if sda else "address"
            self._bits, self.pulls = [], 0
        elif scl > before[0] and self._state != "idle":
            self._bits.append(sda)
        elif scl < before[0] and self._state != "idle":
            self._fell()
        return self.pulls

    def _fell(self) -> None:
        """SCL has fallen: after bit 8 acknowledge or not, after bit 9 act, else send a bit."""
        if len(self._bits) == 8:
            self.pulls = int(self._acknowledges())
        elif len(self._bits) == 9:
            acknowledged = not self._bits[8]
            byte = int("".join(map(str, self._bits[:8])), 2)
            self._bits, self.pulls = [], 0
            self._act(byte, acknowledged)
            self._drive_bit()
        elif self._bits:
            self._drive_bit()

    def _acknowledges(self) -> bool:
        """Return whether it acknowledges the byte that has come."""
        if self._deaf or self._state == "send":
            return False
        if self._state == "address":
            byte = int("".join(map(str, self._bits)), 2)
            return byte >> 1 == self.address
        return True

    def _act(self, byte: int, acknowledged: bool) -> None:
        """Act on a byte and its acknowledge."""
        if not acknowledged:
            self._state = "idle"
        elif self._state == "address":
            self._state = "send" if byte & 1 else "register"
            if byte & 1:
                self._load()
        elif self._state == "register":
            self._pointer, self._state = byte & 7, "take"
        elif self._state == "take":
            self.registers[self._pointer] = byte
            self._pointer ^= 1
        else:
            self._load()

    def _load(self) -> None:
        """Sample the register to be sent, and go on to the other of its pair."""
        if self._pointer < OUTPUTS:
            turned = self.registers[TURNED + self._pointer]
            self.registers[self._pointer] = (self._look(self._pointer) ^ turned) & 0xFF
        self._send = self.registers[self._pointer]
        self._pointer ^= 1

    def _drive_bit(self) -> None:
        """Put the next bit of the byte it sends on SDA."""
        if self._state == "send":
            self.pulls = 1 - (self._send >> (7 - len(self._bits)) & 1)
