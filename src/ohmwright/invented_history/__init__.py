"""Five years of an invented fleet on record, made in seconds: something to look at and to try.

Read in this order:

    fleet           fifty invented units of four models, and when each was on the bench
    unit_state      one unit as built and aged, its trims, and its true output
    bench_day       the invented bench on one day: meter, load bank, certificate, documents
    visit           the events of one visit: as found, adjustment, as left
    make_history    all visits in the order of their dates, kept in a store

Decisions that bind this room.

**The engine's arithmetic, and none of its time.** Ageing and output are the simulator's; value,
budget, verdict and conformity are made by the functions that a job runs. What is left out is the
activation itself: a reading is the true output at the stated age, off by the meter and by the noise
that a few seconds of readings leave. So an event says nothing of RF, and `software` says how the
record was made. Rejected: whole jobs, an hour for what takes seconds. Held by
tests/invented_history/test_history.py.

**It is marked as simulated.** Each run has a seed, as every simulated bench's has, so that list,
paper and summary keep it apart from real ones. It is chained, signed and verified like any other.
"""
