"""Foreign worlds: units and meters whose equations the estimators do not know.

The plant is integrated in small steps and shares nothing with `ohmwright.estimation`,
`ohmwright.simulator` or `scripts/bench/plant.py`. What is judged is the product's own: the policy
with the parameters of a job, the task derived as a job derives it, the stop rule of a test point,
the rests, the verdict. Read in this order:

    world          what a world draws, as data
    catalogue      the worlds by name
    drawn          one unit with its meter and task, drawn from a world
    rise           from the demanded level to the output: linear dynamics and dead time
    trim_laws      from presses and counts to the demanded level: laws, backlash, relaxation
    warmth         two bodies that warm and cool, and a unit that warms up over minutes
    disturbances   hunting of several shapes, 1/f noise, line voltage
    meter          true RMS over a window, at its own rate and in its own digits
    unit           all of it together, with a clock
    driving        a job's policy and stop rule at work on a unit
    figures_of_world, table   what came of it, beside the bars

**The truth** is what an assessor would find who measured the unit where its trim stands, straight
after the deciding activation: the output 6 s, or the world's own age, into an activation that
begins cold (both bodies of the output stage at ambient), free of lag and dead time, without noise,
its hunting replaced by the mean over a time much longer than its periods and dwells. What no bench
controls stays as it is at that moment: line voltage, warm-up of the unit over minutes, ageing. A
trim that relaxes has relaxed; backlash stays where the last move left it.

A unit that passed counts as **falsely accepted** where it was out of tolerance at its confirmation:
by the truth with the hunting and noise of that activation's later half in place of their long mean.
One that is out of tolerance by the truth, that long mean, is counted apart: a unit can stand still
on one side of its mean for as long as it is watched.
"""
