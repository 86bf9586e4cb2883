"""What is counted while the service runs, in a registry of each app's own."""

from __future__ import annotations

from math import nan

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, Info

BUCKETS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
"""Upper ends of the histogram's buckets, s."""

CLEARANCES = ("cleared", "held")


class Meters:
    """Counters of one app. All are counted in this process, from its start."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry(auto_describe=True)
        self._requests = Counter(
            "setup_audit_requests", "Requests answered.", ("method", "route", "status"), registry=self.registry
        )
        self._seconds = Histogram(
            "setup_audit_request_seconds", "Time to answer.", ("route",), buckets=BUCKETS, registry=self.registry
        )
        self._audits = Counter("setup_audit_audits", "Setups audited.", ("clearance",), registry=self.registry)
        self._starts = Counter("setup_audit_starts", "Starts asked for.", ("clearance",), registry=self.registry)
        self.troubles = Counter(
            "setup_audit_troubles",
            "Requests that met a store, rulebook, secret or sign-on out of order.",
            registry=self.registry,
        )
        self.lines_lost = Counter(
            "setup_audit_log_lines_lost", "Log lines that could not be written.", registry=self.registry
        )
        self._rulebook = Info("setup_audit_rulebook", "The shipped rulebook with the site's.", registry=self.registry)
        self._up = Gauge("setup_audit_store_up", "Whether the store answered just now.", registry=self.registry)
        self._organisations = Gauge("setup_audit_organisations", "Organisations.", registry=self.registry)
        self._events = Gauge("setup_audit_events_on_record", "Events on all records.", registry=self.registry)
        # looking a child up by its labels costs more than counting
        self._audited = {clearance: self._audits.labels(clearance) for clearance in CLEARANCES}
        for clearance in CLEARANCES:  # there from the start, so that a rate can be taken of the first one
            self._starts.labels(clearance)
        self._counts: dict[tuple[str, str, int], Counter] = {}
        self._times: dict[str, Histogram] = {}

    def answered(self, method: str, route: str, status: int, seconds: float) -> None:
        """Counts an answer. The route is its template, so that the number of series is bounded."""
        key = (method, route, status)
        if key not in self._counts:
            self._counts[key] = self._requests.labels(method, route, str(status))
        self._counts[key].inc()
        if route not in self._times:
            self._times[route] = self._seconds.labels(route)
        self._times[route].observe(seconds)

    def audited(self, clearance: str) -> None:
        """Counts an audit: ``cleared`` or ``held``."""
        self._audited[clearance].inc()

    def start_decided(self, clearance: str) -> None:
        """Counts a harvest start that was asked for: ``cleared`` or ``held``."""
        self._starts.labels(clearance).inc()

    def set_rulebook(self, digest: str, rules: int) -> None:
        """Shows by which rulebook setups are audited that are not recorded."""
        self._rulebook.info({"digest": digest, "rules": str(rules)})

    def set_record(self, counted: tuple[int, int] | None) -> None:
        """Shows how many organisations and events there are; None where the store did not say."""
        self._up.set(counted is not None)
        self._organisations.set(counted[0] if counted else nan)
        self._events.set(counted[1] if counted else nan)
