"""The doors: command line and HTTP. Only here do rulebook, engine and web meet."""
