"""Reports as JSON in bytes, the shape of ``report_json``: what many reports have in common is encoded once and kept."""

from __future__ import annotations

import msgspec

from api.wire import advice_json, asked_json, envelope_json, found_json, unasked_json
from audit.nouns.finding import Finding, Report, Unasked
from audit.nouns.rulebook import Rulebook
from audit.nouns.vocabulary import on_card

_MOST_KEPT = 8192
"""Findings and questions that are kept; then it starts again, which bounds memory whatever the input."""

_encode = msgspec.json.Encoder().encode


class ReportBytes:
    """Writes reports without facts. One for an auditor, which gives the same object for the same finding.

    Args:
        rulebook: by which the reports were made.
    """

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self._findings: dict[int, tuple[Finding, tuple[bytes, bytes, bytes]]] = {}
        self._asked: dict[object, bytes] = {}
        self._advice: dict[object, bytes] = {}
        self._unasked: dict[int, tuple[tuple[Unasked, ...], bytes]] = {}

    def report(self, report: Report) -> bytes:
        """One report."""
        parts = [_encode(envelope_json(report))[:-1], b',"findings":[']
        kept = self._findings
        for finding in report.findings:
            known = kept.get(id(finding))
            parts += self._finding(report, finding) if known is None else known[1]
            parts.append(b",")
        if report.findings:
            parts.pop()
        unasked = self._unasked.get(id(report.unasked))
        parts.append(self._no_questions(report) if unasked is None else unasked[1])
        return b"".join(parts)

    def _finding(self, report: Report, finding: Finding) -> tuple[bytes, bytes, bytes]:
        """The three parts of a finding, which follow each other as they are."""
        card = self.rulebook.machines[report.card]
        question = (report.card, report.crop, finding.rule, finding.on, finding.verdict, finding.holds_start)
        asked = self._asked.get(question)
        if asked is None:
            asked = self._asked[question] = _encode(asked_json(finding, self.rulebook, card))[:-1] + b","
        compared = (*question, *(comparison.quantity for comparison in finding.comparisons))
        advice = self._advice.get(compared)
        if advice is None:
            advice = self._advice[compared] = b"," + _encode(advice_json(finding, self.rulebook, card))[1:]
        found = _encode(found_json(finding, on_card(card, self.rulebook.vocabulary)))[1:-1]
        if len(self._findings) >= _MOST_KEPT:
            self._findings.clear()
        # by identity, which holds as long as the object is kept here
        self._findings[id(finding)] = finding, (asked, found, advice)
        return asked, found, advice

    def _no_questions(self, report: Report) -> bytes:
        """What ends a report: the end of the findings, and what was not asked."""
        ended = b'],"unasked":' + _encode([unasked_json(unasked) for unasked in report.unasked]) + b"}"
        self._unasked[id(report.unasked)] = report.unasked, ended
        return ended
