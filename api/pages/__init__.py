"""Pages for people, served beside the JSON doors by the same process; they work without JavaScript.

A page is a function in one of the modules here that asks the service as a route does, and a template of the same name.
It decides nothing: what it shows is what the JSON door of the same thing answers, in the reader's language and units.
"""
