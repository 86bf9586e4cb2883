"""The history of a unit: what its setups, put in order, say of wear, of work done, and of what is due again."""
