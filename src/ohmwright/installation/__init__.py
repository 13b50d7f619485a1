"""The installation check: known values, each computed by the code that a job runs.

`ohmwright checks` prints them, so that a laboratory can validate the software on the computer where
it is used, and keep the result. Read in this order:

    check           one check: known value, its source and tolerance, and the function computing it
    budgets         uncertainty budgets and propagation
    decisions       verdicts of the six decision rules
    limits          tolerances and the limit of HF leakage
    transients      settled values and verdicts from stored activations (data/transients.json)
    waveforms       RMS, peak and crest factor
    records         hashes and signatures of records
    catalogue       all checks by subject

Decisions that bind this room; both are in force.

**A check enters the function that a job runs**, and a plausible slip in it must show. Why: a
formula written again for the check would only vouch for itself. Rejected: a complete catalogue of
published values, which no laboratory needs on its own computer; it is in tests/published/.
Held by tests/cli/test_checks.py, which makes such slips.

**Each value says how it is known**: seen in a text of the source, from memory, or computed by an
independent library or exact arithmetic. Held by tests/published/test_installation.py.
"""
