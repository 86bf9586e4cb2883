"""What a walk round a machine asks, as plain values that a page carries where there is no signal."""
