"""What an engineer does with the public Python API: programs that each draw a figure."""
