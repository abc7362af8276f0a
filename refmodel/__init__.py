"""Cellstep's reference model: what a floppy-disk controller's registers read in every cycle.

The package never imports a simulator and prints nothing outside `refmodel.cli`. The register block
is plain Python, its fast form numpy. `refmodel/SPEC.md` states the behaviour clause by clause; the
code cites the clause numbers (`B3`).
"""

__version__ = "0.2.0"
