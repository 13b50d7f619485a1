"""The installation check: known values, each through the code that a job runs, end to end.

One module a subject, each with a generator `checks()`; `catalogue` has them all. They ship with
the package, so that a laboratory can run them where the software is used and keep what they say.
"""
