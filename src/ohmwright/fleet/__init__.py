"""Statistics over many units and years: shares, trends, intervals, control charts; pure functions.

No command uses this room yet; its functions are held against published values. Read in this order:

    binomial        confidence limits of a share; trials that demonstrate a reliability
    regression      least squares; one-way analysis of variance
    drift           a trend over time, its prediction, and when it leaves limits
    interval        calibration intervals by reliability and by trend
    charts          control charts: Shewhart, Western Electric rules, EWMA, CUSUM
    run_length      average run length of those charts

Times and intervals are plain numbers in a unit of the caller's choice. No decisions bind this room.
"""
