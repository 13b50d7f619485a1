"""A procedure that takes one activation, as the text of its file."""


def one_activation(title: str, model: str, times: str = "") -> str:
    """Return a procedure of one point, with the lines `times` for its rest and its ages."""
    return f"""\
title = "{title}"
revision = "1"
model = "{model}"
[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 100
load_ohm = 500
power_w = 100
tolerance = {{ percent = 20 }}
{times}
"""
