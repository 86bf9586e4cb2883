"""Drive kinds: one module each, found by being here. A kind is its parameters, its readings and its facts."""
