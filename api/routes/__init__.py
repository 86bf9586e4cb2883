"""Routes, a module for each resource."""
