"""Statistics over many units and years: creep, forecast, intervals, shares, control charts; pure.

Read in this order:

    creep_model         what the units of a model share of how they creep
    creep_figures       its figures as arrays
    creep_filter        what the visits of units say of each one: a Kalman filter
    creep_fit           the figures of a model, learned from its units
    creep_forecast      what is to be expected of units at a date
    point_histories     results on record as histories of units, point by point
    fleet_forecast      every unit on record with all its points
    creep_table         the forecast in the units of each quantity
    creep_course        values of a point on record, and what is expected ahead
    creep_plot          its figure
    interval_advice     intervals by a reliability target or at the least cost
    unit_intervals      those of every unit and model on record
    surprise_chart      control charts of visits against their forecast
    fleet_review        what a span of time brought: failures, adjustments, recurrences
    binomial            confidence limits of a share
    charts              Western Electric rules
    years               times as years
    worklist            which unit is to be worked on next
    campaign_state      where each unit of a campaign is, what is left and how long that takes

Times and intervals are plain numbers, in years where creep is foretold.

Design decisions, all in force:

1. Deviations are in tolerances.
   Why: one set of wide priors must serve every quantity.
   Decision: 0 is the middle of a point's limits, -1 and 1 are the limits; errors are relative to
   the target, so that a changed target or changed limits do no harm.
   Rejected: percent, of which 2 is much at one point and nothing at another.
   Held by: tests/fleet/test_point_histories.py.
2. A unit is foretold from its own visits and its model's: partial pooling.
   Why: a unit has three to ten visits; alone they give no rate, its model alone hides who is worse.
   Decision: level, rate and season of a unit in a Kalman filter, its rate drawn from groups that
   its model shares (steady, settling, and unlike the model); figures of the model by highest
   posterior density, with eight more models drawn from the posterior, so that a small fleet has
   wide intervals. A step is a second Gaussian at each visit, merged after it.
   Rejected: a straight line for each unit; sampling, which takes minutes and another package.
   Held by: tests/fleet/test_creep_filter.py against statsmodels and a joint density;
   scripts/bench/forecast.py on units that age by other equations.
3. A unit's risk is that of its riskiest point.
   Why: points share the unit's sensors, so that they leave their limits together.
   Decision: the largest of its points' risks; the sum would be the bound of independent points.
   Rejected: a joint model of all points.
   Held by: tests/api/test_creep.py.
4. The worklist goes by the risk within the coming year, after what is probably out now.
   Why: the risk of today is about nought for most units, so that it orders only a few of them.
   Decision: what is out, or probably out, in front; then by the highest risk until a year from now.
   Rejected: the risk of today alone: its first third held 60 % of what left within the year.
   Held by: tests/fleet/test_worklist.py; scripts/bench/forecast.py.
"""
