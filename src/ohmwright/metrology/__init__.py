"""Pure mathematics on floats and arrays: no await, port or clock."""
