"""The audit of a whole fleet: any input, any size, goes on where it was, the same bytes out."""
