"""A run drawn on a terminal of any size: pure functions from a picture of the run to text.

    letters     large letters and digits of block characters
    gauge       where in its limits a reading stands; the trend of the last minute
    pieces      single lines: RF, reading, target, cue, progress
    fitting     lines wrapped and cut to the size of a terminal
    layout      which pieces a terminal of a given size has room for

Nothing here is told by colour alone: RF and verdicts are words, a place is a mark. Colours come
with a ground of their own, or are left out, so that all is readable on light and dark ground.
"""
