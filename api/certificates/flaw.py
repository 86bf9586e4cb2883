"""What can be wrong with something signed."""

from __future__ import annotations

from enum import Enum


class Flaw(Enum):
    """Why something signed is not good."""

    TOO_LARGE = "too-large"
    MALFORMED = "malformed"
    CRITICAL_HEADER = "critical-header"
    OWN_KEY = "own-key"
    WRONG_ALGORITHM = "wrong-algorithm"
    WRONG_TYPE = "wrong-type"
    UNKNOWN_KEY = "unknown-key"
    COMPROMISED_KEY = "compromised-key"
    WRONG_SIGNATURE = "wrong-signature"
    OTHER_ISSUER = "other-issuer"
    FOR_ANOTHER_ORGANISATION = "for-another-organisation"
    FOR_ANOTHER_UNIT = "for-another-unit"
    FOR_ANOTHER_JOB = "for-another-job"
    FOR_ANOTHER_SETUP = "for-another-setup"
    OTHER_RULEBOOK = "other-rulebook"
    NOT_YET_VALID = "not-yet-valid"
    EXPIRED = "expired"
    REVOKED = "revoked"
    OTHER_SHORT_FORM = "other-short-form"


class NotGood(Exception):
    """Something signed must not be relied on; ``flaw`` for programs, the text for people."""

    def __init__(self, flaw: Flaw, text: str) -> None:
        super().__init__(text)
        self.flaw = flaw
