"""Figures as ratios against a reference run beside ours."""
