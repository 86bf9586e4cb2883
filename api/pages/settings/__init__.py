"""What an organisation sets, and what came of it: a page for each, all of them listed at /settings."""

from types import ModuleType

from api.pages.settings import calendars, imports, index, record, rulebook, rules, terms, tokens, webhooks

PAGES: tuple[ModuleType, ...] = (index, terms, tokens, rulebook, rules, record, webhooks, calendars, imports)
"""Every page of settings; each asks for the right that it needs."""
