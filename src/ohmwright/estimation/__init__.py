"""What the readings of an activation say of a unit's output; pure functions of their inputs.

Nothing here waits, knows a clock or a port. Read in this order:

    point                   what a point asks of the output: target, tolerance, times, keys
    coefficients            the eight numbers that describe a point, by name
    prior                   what is known of them before the readings
    step_response           what a meter with a window shows of a step through lag and dead time
    thermal_droop           what a warming output stage loses; how long it must rest
    mixture                 an estimate that admits several explanations
    ar1_regression          linear regression under correlated noise
    hunting                 slow swings of the output as an alternative explanation
    transient_estimate      what the estimate of a transient needs and returns
    transient_estimator     the eight coefficients from the readings of one activation
    exponential_tail        the output free of lag, with no dead time or window in the model
    settled_value           a value and whether it has settled, for points without a tolerance
    sequential_test         in tolerance, too low, too high or undecided, from one activation,
                            transient model and tail having to agree
    weighted_slope          whether repeated values trend
    duty                    the mean power that a load bank or generator bears
    power_curve_diagnosis   which sense of a generator has drifted, from a power curve

Decisions that bind this room; all are in force.

**Readings are correlated.** Why: neighbours of a meter with a window do not count as independent,
and a scatter that took them so would be stated too small. Noise is AR(1), and its correlation is
averaged over a grid. Rejected: one correlation taken for granted.
Held by tests/estimation/test_ar1_regression.py and test_settled_value.py.

**No fixed wait; a value is free of lag, at a stated age.** Lag and droop are extrapolated to the
age the procedure names, and what that leaves unsure is part of the uncertainty. Rejected: a fixed
wait; a test of the slope, which is too often wrong where it is quicker (the bench compares both).
Held by tests/estimation/test_settled_value.py; `scripts/bench/adjust.py`.

**Two models must agree before a decision.** The transient model decides soonest but knows lag, dead
time and window; the tail knows none of them. A decision also has to stand when hunting is allowed
for. Why: either model may be wrong for a unit, hardly both in the same way. Rejected: the quicker
one alone. Held by tests/estimation/test_sequential_test.py; `scripts/bench/adjust.py`.

**Rests are as long as the correction for warmth needs.** Where the generator's data say how it
droops and recovers, the warmth left is corrected for, and a rest lasts until what that leaves
unsure is small against the tolerance. The running mean of the duty is never shortened. Rejected: a
fixed rest after each activation. Held by tests/estimation/test_thermal_droop.py and test_duty.py.

**A sense has drifted or it has not.** The diagnosis weighs the eight cases instead of shrinking
three gains alike, so that one culprit stands out and its fellows stay at 1. Rejected: least squares
for three gains. Held by tests/estimation/test_power_curve_diagnosis.py.

**The eight coefficients are one named type**, and groups of them are slices, so that arrays of
all explanations and dynamics stay arrays and a refit stays fast. Rejected: bare indices; a record
of eight numbers, which a regression would have to pack and unpack.
Held by tests/estimation/test_coefficients.py.
"""
