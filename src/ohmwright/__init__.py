"""ohmwright: calibration and verification of electrosurgical generators."""

__version__ = "0.1.0"
