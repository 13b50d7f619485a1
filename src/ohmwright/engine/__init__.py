"""The async loop that measures, decides and adjusts."""
