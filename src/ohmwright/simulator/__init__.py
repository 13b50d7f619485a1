"""The invented hardware: plants in closed form, answering SCPI text."""
