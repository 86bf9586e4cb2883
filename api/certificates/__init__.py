"""Start certificates: signed by the server, checked anywhere, with or without a network."""
