"""Drift, intervals, charts and shares over many units and years: pure mathematics."""
