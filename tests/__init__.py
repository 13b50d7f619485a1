"""Tests and what they share, named from the root of the working copy."""
