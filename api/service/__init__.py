"""What the service does, a function for each thing that can be asked of it; no HTTP, and no clock but the one given."""
