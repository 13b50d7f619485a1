"""Published values that ohmwright's arithmetic is checked against, by document.

One module a document; each has a generator `checks()`. They ship with the package so that a
laboratory can run them where the software is used.
"""
