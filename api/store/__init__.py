"""What the service remembers: tables, and plain functions that read and write them. No decision is made here."""

ADDRESS = "SETUP_AUDIT_STORE"
"""Environment variable that names the database."""
