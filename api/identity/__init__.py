"""Who asks, and what they may do: tokens of our own, an organisation's own sign-on, roles and their rights."""
