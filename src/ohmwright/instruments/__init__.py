"""The abstract analyzer, generator and operator, and their back ends."""
