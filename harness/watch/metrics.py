"""The watch's figures in the Prometheus text format, on 127.0.0.1 only.

Touches a socket and a thread, which sleeps until it is asked. Nothing is read for an answer
that the daemon does not hold already: asking does not disturb a pass more than the asking.
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.errors import AskedError, Problem
from harness.watch.night_watch import NightWatch


def serve(watch: NightWatch, port: int) -> None:
    """Serve ``/metrics`` on *port* of this machine until the process ends.

    Raises:
        AskedError: the library is not installed, or the port is taken.
    """
    try:
        from prometheus_client import CollectorRegistry, start_http_server
        from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
        from prometheus_client.metrics_core import Metric
        from prometheus_client.registry import Collector
    except ImportError as error:
        raise AskedError(
            Problem(
                code="not-installed",
                what="figures are asked for, and prometheus-client is not installed",
                do="install bench-harness[notices], or take watch.metrics out of rig.yaml",
            )
        ) from error

    class OfTheWatch(Collector):
        """Makes the figures when they are asked for."""

        def collect(self) -> Iterator[Metric]:
            """Yield them."""
            for name, about, value in gauges(watch):
                yield GaugeMetricFamily(f"bench_harness_{name}", about, value=value)
            kept = CounterMetricFamily(
                "bench_harness_records_kept", "Records kept by runners, by kind.", labels=["kind"]
            )
            for kind, count in sorted(watch.heard.items()):
                kept.add_metric([kind], count)
            yield kept

    registry = CollectorRegistry()
    registry.register(OfTheWatch())
    try:
        start_http_server(port, addr="127.0.0.1", registry=registry)
    except OSError as error:
        raise AskedError(
            Problem(
                code="port-taken",
                what=f"figures cannot be served on port {port}: {error.strerror}",
                do="write another port for watch.metrics in rig.yaml",
            )
        ) from error


def gauges(watch: NightWatch) -> Iterator[tuple[str, str, float]]:
    """Yield name, meaning and value of each figure that is not measured to be missing."""
    work, due = watch.at_work, watch.last
    yield "queue_plans", "Plans on the queue.", float(len(watch.journal.standing.order))
    yield "runner_at_work", "Whether this daemon has a runner at work.", float(work is not None)
    yield "pass_in_progress", "Whether a pass runs.", float(work is not None and work.in_pass)
    if due is not None and due.wake is not None:
        yield "next_look_timestamp_seconds", "When the alarm rings next.", due.wake.timestamp()
