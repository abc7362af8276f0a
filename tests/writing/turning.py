"""A disk that turns under one register block: what a revolution writes, the next ones read."""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from refmodel.engine.timeline import Timeline
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.media.strobes import bits_of_revolutions, strobe_cycles
from refmodel.media.writing import Surface, WriteHead
from refmodel.profile import load_profile
from refmodel.world.play import ModelPlayer

PAL = load_profile("pal_dd")


@dataclass
class Turning:
    """Plays a host program for some revolutions; keeps what was moved, written and read."""

    track: object
    memory: object = ()
    pw50_ns: float = 0.0
    write_protected: bool = False
    bursts: list = field(default_factory=list)
    revolutions: list = field(default_factory=list)
    moves: list = field(default_factory=list)
    result: object = None

    def play(self, program, turns):
        """Run the program from the first index on."""
        length, step = len(self.track), PAL.cycles_per_bit
        begins = [int(n * length * step) for n in range(turns + 1)]
        self.surface, head, timeline = Surface(), WriteHead(self.write_protected), Timeline(PAL)
        self.head = head
        processor = Processor(program, PAL)
        pw50 = self.pw50_ns / float(PAL.cycle_ns)
        for stimulus in ModelPlayer(PAL, processor).play(self._disk(begins)):
            expected = timeline.run(stimulus)
            moves = expected.moves
            self.moves += zip(moves.word.tolist(), moves.store.tolist(), strict=True)
            lines = expected.lines
            for burst in head.take(lines["write_gate"], lines["write_data"], expected.end):
                self.bursts.append(burst)
                bits = burst.bits(PAL.cycles_per_written_bit, pw50)
                self.surface.write(burst, bits, PAL.cycles_per_written_bit, begins)
        self.result = processor.result
        return self

    def _disk(self, begins):
        """Yield each revolution as it lies on the disk when it comes round."""
        length = len(self.track)
        for turn, (begin, end) in enumerate(pairwise(begins)):
            cycles = strobe_cycles(turn * length, length, PAL.cycles_per_bit)
            bits = bits_of_revolutions(self.track, turn * length, length)
            passing = self.surface.under_the_head(cycles, bits, begin)
            self.revolutions.append(passing)
            yield Stimulus(
                begin + 1,
                end - begin,
                bit_cycle=passing.cycle,
                bit=passing.bit,
                memory=np.array(self.memory, np.uint16),
            )

    @property
    def stored(self):
        """The words that read transfers stored."""
        return [word for word, store in self.moves if store]
