"""From findings to work: the cheapest corrections in the right order, changeovers, conflicts and proofs."""
