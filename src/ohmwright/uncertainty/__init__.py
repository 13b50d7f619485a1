"""Measurement uncertainty and conformity with a tolerance; pure functions of their inputs.

Nothing here waits, knows a clock or a port. Read in this order:

    inputs              input quantities: estimate, standard uncertainty, degrees of freedom; normal
                        and Student's t distribution, coverage factors
    montecarlo          propagation of distributions by Monte Carlo, JCGM 101
    budget              the linear uncertainty budget of the GUM, and the test whether it or Monte
                        Carlo gives the result
    conformity          decision rules for a single measured value
    risk                share of false accepts over a population of instruments
    global_risk_rules   decision rules that limit that share
    waveform, kernels   RMS, peak and crest factor of a sampled waveform, and what it may miss
    hf_effects          what stray reactances and a bandwidth do to a current

Decisions that bind this room; all are in force.

**Linear unless tested otherwise** (`budget`). Monte Carlo runs only where the next terms of
the Taylor series add over 2 % to the variance, or where one input that is not normal makes over
half of it; its result is taken only where JCGM 101 clause 8 finds that the linear interval differs.
Why: the linear budget can be followed by hand; a simulation takes a million trials to be finer
than the digits that are compared. Its seed is fixed, so that a result
can be computed again to the last digit. Rejected: Monte Carlo for every value.
Held by tests/uncertainty/test_propagation.py and tests/published/test_jcgm101.py.

**Degrees of freedom stop at 10^6 in a record**, since JSON has no infinity. Here they may be
infinite; whoever writes a value to a record caps them (`AMPLE_DOF` of model/result.py). Why: the
coverage factor of 10^6 exceeds that of infinitely many by about one part in a million. Rejected:
null for infinity, which every reader of a record would have to know.
Held by tests/engine/test_measured_value.py.

**A rule may say undecided, and nothing rounds that to pass or fail** (`conformity`). Why: a value
too near a limit for its uncertainty shows neither. Held by tests/uncertainty/test_conformity.py.
"""
