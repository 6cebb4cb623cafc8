"""Figures for Prometheus: the queue and the parts from Redis, the same from every web server; the
requests of this one."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Iterator

import redis
from apiflask import APIBlueprint, APIFlask
from flask import Response, g, request
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.registry import Collector

from annotator import __version__
from api import access
from api.front import turn
from api.openapi import describe
from workers import metrics as counters
from workers import operator, queues
from workers.context import Context

# The version of the text format is part of the media type.
CONTENT_TYPE = "text/plain; version=0.0.4; charset=utf-8"
# Of RFC 9110 and 5789; a label for whatever word a stranger sends would fill the memory.
METHODS = frozenset(("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"))
STANDING = {
    "sweep_age_seconds": "Seconds since lost work was last looked for",
    "unfinished_jobs": "Jobs with something left to do, as the last sweep saw them",
    "oldest_unfinished_seconds": "Age of the oldest of them",
    "unacknowledged": "Messages that workers have taken and not acknowledged",
    "stray_messages": "Messages in queues that no worker listens to",
}
COUNTED = {
    "swept": ("What sweeps found", "found"),
    "outages": ("Times that work had to wait for the store or Redis", "what"),
    "broken": ("Processes that ended in the midst of a part", "how"),
}
blueprint = APIBlueprint("metrics", __name__, tag="Health")


@blueprint.get("/metrics")
@blueprint.doc(responses=describe.responses(s200=describe.text("The figures", "text/plain")))
def metrics() -> Response:
    """Figures for Prometheus"""
    shared = CollectorRegistry()
    shared.register(Shared(access.context()))
    own: CollectorRegistry = access.extension("crookline-metrics")
    return Response(generate_latest(shared) + generate_latest(own), content_type=CONTENT_TYPE)


def register(app: APIFlask) -> None:
    """Count the requests of this web server and their seconds."""
    registry = CollectorRegistry()
    app.extensions["crookline-metrics"] = registry
    labels = ("method", "route", "status")
    count = Counter("crookline_requests", "Requests answered", labels, registry=registry)
    seconds = Histogram("crookline_request_seconds", "Seconds to the answer", ("route",), registry=registry)

    streams = Gauge("crookline_open_streams", "Streams of events that are open here", registry=registry)
    streams.set_function(app.extensions["crookline-streams"].open)

    @app.before_request
    def begin() -> None:
        g.began = time.perf_counter()

    @app.after_request
    def end(response: Response) -> Response:
        if turn().dropped:
            return response
        route = str(request.url_rule) if request.url_rule else "none"
        method = request.method if request.method in METHODS else "other"
        count.labels(method, route, response.status_code).inc()
        seconds.labels(route).observe(time.perf_counter() - g.get("began", time.perf_counter()))
        return response


class Shared(Collector):
    """What all processes of the service have counted."""

    def __init__(self, context: Context) -> None:
        self._context = context

    def collect(self) -> Iterator[Metric]:
        """The figures now; only whether Redis answers when it does not."""
        up = GaugeMetricFamily("crookline_redis_up", "Whether Redis answers")
        try:
            found = [*self._queues(), *self._parts(), self._workers(), *self._standing()]
            up.add_metric([], 1)
        except redis.RedisError:
            found = []
            up.add_metric([], 0)
        yield from [up, *found]

    def _queues(self) -> Iterator[Metric]:
        depth = GaugeMetricFamily("crookline_queue_depth", "Messages that wait", labels=["queue"])
        age = GaugeMetricFamily(
            "crookline_queue_age_seconds", "How long the oldest has waited", labels=["queue"]
        )
        for name, (length, oldest) in queues.depths(self._context.connection, self._context.settings).items():
            depth.add_metric([name], length)
            age.add_metric([name], oldest)
        yield from (depth, age)

    def _workers(self) -> Metric:
        gauge = GaugeMetricFamily("crookline_workers", "Workers heard of in the last seconds")
        gauge.add_metric([], len(self._context.hands.workers()))
        return gauge

    def _standing(self) -> Iterator[Metric]:
        for name, value in operator.figures(self._context).items():
            yield GaugeMetricFamily(f"crookline_{name}", STANDING[name], value=value)
        build = GaugeMetricFamily("crookline_build_info", "The version that answers", labels=["version"])
        build.add_metric([__version__], 1)
        yield build

    def _parts(self) -> Iterator[Metric]:
        parts = CounterMetricFamily("crookline_parts", "Parts by outcome", labels=["state", "kind"])
        seconds = HistogramMetricFamily("crookline_stage_seconds", "Seconds per stage", labels=["stage"])
        buckets: dict[str, dict[str, float]] = defaultdict(dict)
        sums: dict[str, float] = {}
        others = {
            what: CounterMetricFamily(f"crookline_{what}", words, labels=[label])
            for what, (words, label) in COUNTED.items()
        }
        for field, value in sorted(counters.read(self._context.connection).items()):
            what, *words = field.split(" ")
            if what == "parts":
                parts.add_metric(words, value)
            elif what == "bucket":
                buckets[words[0]][words[1]] = value
            elif what == "seconds":
                sums[words[0]] = value
            elif what in COUNTED:
                others[what].add_metric(words, value)
        for stage, counted in buckets.items():
            total, cumulative = 0.0, []
            for bound in (*map(str, counters.BUCKETS), "+Inf"):
                total += counted.get(bound, 0.0)
                cumulative.append((bound, total))
            seconds.add_metric([stage], cumulative, sums.get(stage, 0.0))
        yield from (parts, seconds, *others.values())
