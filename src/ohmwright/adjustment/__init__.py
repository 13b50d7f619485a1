"""Adjusting as a policy: told what happened, it says what next; no await, port or clock."""
