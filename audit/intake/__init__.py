"""Text to nouns: units, YAML and JSON trees, cards, rules, setups; every error at once with its place."""
