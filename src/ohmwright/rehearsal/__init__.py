"""A procedure tried on many invented units, in virtual time, before a real one is keyed.

Read in this order:

    rehearsed_bench         a bench whose hardware is simulated, opened for one unit
    population              the units: their seeds, and what records know of a fleet
    true_value              what a result should have been, by the simulator's truth
    outcome                 what one unit's run came to: verdicts, truth, time, heat
    unit_run                one unit through the procedure
    workers, cluster        units shared out to processes, or to other machines
    rehearse                procedures on the same units
    from_files              the same from the paths of procedure, bench and records
    summary                 shares with bounds, costs of steps, hardest tolerances
    comparison              two procedures on the same units: paired differences
    plot                    the figure

Decisions that bind this room.

**The engine decides, nothing else.** A unit is run by `engine.run`, as `calibrate` runs it; this
room only counts, and holds each verdict against the simulator's truth. What is left out is what
decides nothing: the record's chain, the live view, and the bytes between engine and analyzer
(`simulator/direct_analyzer`). Rejected: a faster estimator for rehearsals, whose figures would be
another program's. Held by tests/rehearsal/test_unit_run.py.

**A unit is its number and the seed of the rehearsal.** Its own seed is a child of that seed
(numpy's SeedSequence), so which process runs it, when, and beside how many others changes nothing.
A unit that was judged wrongly can be run alone: its seed is the `seed` of a bench's [simulation].
Held by tests/rehearsal/test_workers.py.

**A lost worker loses nothing.** What it had in hand is run again by another. Held by
tests/rehearsal/test_workers.py.

**Shares have bounds.** Each is given with Clopper and Pearson's 95 % limits: none wrong in 100
units still allows 3.6 %.
"""
