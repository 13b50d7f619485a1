"""What readings say of an output: pure, no await, port or clock."""
