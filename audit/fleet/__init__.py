"""The questions a whole fleet asks of its audit: pure functions over what the audit of many setups wrote down.

``units`` says what is read; ``standing``, ``systematic``, ``comparison`` and ``spells`` answer each one question;
``visits`` to ``scheduling`` plan who goes where on which day.
"""
