"""Statistics over many units and years: shares, trends, intervals, control charts; pure functions.

Its functions are held against published values where there are such. Read in this order:

    binomial        confidence limits of a share; trials that demonstrate a reliability
    regression      least squares; one-way analysis of variance
    drift           a trend over time, its prediction, and when it leaves limits
    interval        calibration intervals by reliability and by trend
    charts          control charts: Shewhart, Western Electric rules, EWMA, CUSUM
    run_length      average run length of those charts
    worklist        which unit is to be worked on next
    campaign_state  where each unit of a campaign is, what is left and how long that takes

Times and intervals are plain numbers in a unit of the caller's choice. No decisions bind this room.
"""
