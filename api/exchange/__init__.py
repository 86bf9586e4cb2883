"""To and from farm systems, in open formats."""
