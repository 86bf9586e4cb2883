"""The engine of the combine setup audit: pure, without web, clock, network or environment."""
