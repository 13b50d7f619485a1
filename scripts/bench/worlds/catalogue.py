"""The worlds by name."""

from __future__ import annotations

from .world import World

LONG_REST_S = 600.0
"""A rest that lint's advice stays under; where droop is stated, each is as long as that needs."""

ALL_LAGS = (-1.0, -1.0)
"""A trim all of whose effect is missing at first, and comes with a lag of its own."""

WORLDS = (
    World("nominal, foreign"),
    World("age 2 s", at_age_s=2.0),
    World("age 15 s", at_age_s=15.0),
    World("near the limit", start_in_tolerances=(0.8, 1.3)),
    World("third order", lag_parts=(0.5, 1.0), dead_s=(0.2, 1.5)),
    World("jump and creep", rise="jump and creep", lag_s=(1.0, 4.0)),
    World("overshoot", rise="overshoot", lag_s=(0.3, 0.9)),
    World("lag 3 s", lag_s=(2.0, 3.0)),
    World("lag 4 s", lag_s=(3.0, 4.0), dead_s=(0.5, 1.5)),
    World("droop 5 %", droop=(0.02, 0.03), outer_droop=(0.01, 0.02)),
    World("droop 5 %, stated", droop=(0.02, 0.03), outer_droop=(0.01, 0.02), droop_stated=True),
    World(
        "droop 5 %, long rests",
        droop=(0.02, 0.03),
        outer_droop=(0.01, 0.02),
        droop_stated=True,
        rest_s=LONG_REST_S,
    ),
    World(
        "400 W unit, long rests",
        lag_s=(1.0, 3.0),
        droop=(0.01, 0.02),
        outer_droop=(0.005, 0.01),
        droop_stated=True,
        rest_s=LONG_REST_S,
        target_ma=(1100.0, 1200.0),
    ),
    World("hunting 1 %", hunting=(0.01, 0.01), hunting_shape="two periods"),
    World("hunting 3 %, square", hunting=(0.01, 0.03), hunting_shape="square"),
    World("hunting 3 %, sawtooth", hunting=(0.01, 0.03), hunting_shape="sawtooth"),
    World("hunting 3 %, two periods", hunting=(0.01, 0.03), hunting_shape="two periods"),
    World(
        "teeter 0.8 %",
        hunting=(0.008, 0.008),
        hunting_shape="teeter",
        hunting_period_s=(2.0, 6.0),
    ),
    World("1/f noise", pink=(0.003, 0.006)),
    World("backlash", backlash_counts=(2.0, 10.0)),
    World("fading trim", law="fading"),
    World("logarithmic trim", law="logarithmic"),
    World("rippled trim", law="rippled"),
    World("relaxing trim", relaxing=(0.1, 0.3)),
    World("dead trim", gain_ma=(1e-6, 2e-6), start_off=(0.08, 0.12)),
    World("big gain", gain_ma=(8.0, 20.0)),
    World("trim past the rise", lag_s=(0.5, 2.0), past_the_rise=True),
    World(
        "quick trim",
        lag_s=(1.0, 2.0),
        past_the_rise=True,
        relaxing=ALL_LAGS,
        relaxing_tau_s=(0.1, 0.6),
    ),
    World("quick unit", lag_s=(0.005, 0.1), dead_s=(0.0, 0.05), past_the_rise=True),
    World(
        "quick unit, window shorter than stated",
        lag_s=(0.005, 0.1),
        dead_s=(0.0, 0.05),
        past_the_rise=True,
        window_s=(0.02, 0.1),
        window_stated=4.0,
    ),
    World("slow trim", lag_s=(0.3, 0.8), relaxing=ALL_LAGS, relaxing_tau_s=(1.0, 2.0)),
    World("warm-up", warm_up=(-0.03, 0.03)),
    World("ageing", ageing_per_min=(0.002, 0.005)),
    World("line steps", line_step=(0.002, 0.01)),
    World("meter 2 Hz", readings_per_s=(2.0, 2.0), window_s=(2.0, 2.0)),
    World("meter 1 Hz", readings_per_s=(1.0, 1.0), window_s=(2.0, 2.0)),
    World("filter meter", window_s=(0.6, 3.0), averages_by="filter", averages_stated="filter"),
    World("filter meter, not stated", window_s=(0.6, 3.0), averages_by="filter"),
    World("digit 5 mA", digit_ma=(5.0, 5.0)),
    World("keys", keys=True),
    World("keys, 3 % wrong", keys=True, wrong_presses=0.03),
)
