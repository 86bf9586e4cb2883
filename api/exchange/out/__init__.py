"""What other systems read: events, signatures, calendars, ADAPT documents, tables."""
