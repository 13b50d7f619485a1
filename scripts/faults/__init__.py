"""The fault harness: whole runs that meet faults, held against the simulator's truth.

**It forks.** A procedure is run once; at each message or pause a child is forked that meets one
fault there, and the parent goes on untouched. So the head of a run is paid for once, and each trial
is the real program in its real state.

**A child is held against the truth** (RF, trims, every reading that the meter showed) and against
the same run without a fault: values may differ by 5 combined standard uncertainties and one digit
of 1 mA, texts and counts not at all, and trims must stand where the record says. RF that a lost
line leaves on must be announced (`ReleaseNotConfirmed`) and ended by the limit sent with ON. After
a passing fault a child is followed to the end of the first point that saw eight more messages on
that line (what a distortion holds back comes out within three), after a lasting one to its end.

**Every kind meets every message** of `short.toml` (each kind of step once) and of the demo; the
attended procedure and the sweep meet two drawn kinds a message. The whole demo is some 450,000
trials, an hour and a half of two cores; `--kind` does one kind of it, and a row is printed as it is
done.

**Kills and guards are in real time** (`real_time`): the engine is killed or stopped, the guard is
killed alone, both are stopped together, and the engine's clocks stand as after a sleep.

**The harness is tested** by `--mutate`, which makes the program worse in the harness's process
only (`mutate`): each way must be noticed. Held by tests/faults/test_reduced.py.
"""
