"""The calls of the service, by name."""

from __future__ import annotations

import ssl
import time
import urllib.parse
from typing import Any, Callable, Dict, Iterable, Iterator, List, Mapping, Optional, Sequence, Union

from .stream import Row, Stream
from .transport import Transport

Message = Mapping[str, Any]
Answer = Dict[str, Any]
Progress = Callable[[Row], None]

# Most cases of one batch, a limit of the service.
_BATCH = 10_000


class Client:
    """The service at ``address``, such as ``http://127.0.0.1:8472``.

    ``token`` is a bearer token, or a function that returns one, asked for each
    time; it goes over https, or to a loopback address, and nowhere else; ``timeout_s``
    bounds each call with its retries; ``tls`` is the context of an https
    address, with a client certificate where the service asks for one.

    Requests and answers are plain dictionaries whose keys are those of the
    contract. A client holds no connection and may be used by many threads.
    """

    def __init__(
        self,
        address: str = "http://127.0.0.1:8472",
        *,
        token: Union[str, Callable[[], str], None] = None,
        timeout_s: float = 60.0,
        tls: Optional[ssl.SSLContext] = None,
    ) -> None:
        self.transport = Transport(address, token=token, timeout_s=timeout_s, tls=tls)

    # Take-offs

    def compute(self, case: Message, *, sections: Sequence[str] = ()) -> Answer:
        """One take-off: ``run_m``, ``required_run_m``, ``margin_m``, ``outcome``.

        The case gives mass in kg, winds in m/s (ahead and from starboard
        positive), temperatures in degrees Celsius and lengths in m. Sections
        such as ``"SECTION_FAILURES"`` ask for more than the run. That the
        aircraft does not get off is an answer, with its reason.
        """
        return self.ask("takeoffs:compute", {"case": case, "sections": list(sections)})

    def batch(self, cases: Iterable[Message], *, sections: Sequence[str] = (), catalog_revision: str = "") -> Iterator[Answer]:
        """Many take-offs, in the order given, each with a status of its own.

        Cases are sent 10 000 at a time, so there may be any number of them. With
        the ``catalog_revision`` of an earlier answer's ``provenance`` they are
        computed with the catalog as it was then, where the service keeps it.
        """
        for first, part in _parts(cases):
            answer = self.ask("takeoffs:batchCompute", {"cases": part, "sections": list(sections), "catalog_revision": catalog_revision})
            for item in answer["items"]:
                item["index"] += first
                yield item

    def table(self, cases: Iterable[Message]) -> List[Row]:
        """Many take-offs as rows of a table, one a case, for a data frame.

        Every row has every column: what went in (``gross_mass_kg``,
        ``headwind_mps``, ``unit_count`` and more), ``status``, ``outcome`` and
        what came out (``run_m``, ``required_run_m``, ``margin_m``,
        ``liftoff_time_s`` and more). A value that does not exist is ``None``.
        """
        rows: List[Row] = []
        for first, part in _parts(cases):
            for row in self.ask("takeoffs:tabulate", {"cases": part})["rows"]:
                row["index"] += first
                rows.append(row)
        return rows

    def trace(self, case: Message, *, step_s: Optional[float] = None) -> Answer:
        """The time history of one take-off, a row each ``step_s`` seconds."""
        return self.ask("takeoffs:trace", {"case": case, **_given(step_s=step_s)})

    def find_firing(self, case: Message) -> Answer:
        """The firing planned for one take-off, and the run against its moment."""
        return self.ask("takeoffs:findFiring", {"case": case})

    # Wind

    def wind_limits(self, request: Message) -> Answer:
        """The winds, in m/s, in which one load may go."""
        return self.ask("windLimits:compute", request)

    def wind_table(self, request: Message, *, timeout_s: float = 600.0, progress: Optional[Progress] = None) -> Stream:
        """The least headwinds of a deck over loads and temperatures, as rows."""
        return self.stream("windLimits:tabulate", request, timeout_s=timeout_s, progress=progress)

    def find_course(self, request: Message) -> Answer:
        """Courses (degrees true) and speeds (m/s) that make the wind for loads."""
        return self.ask("windLimits:findCourse", request)

    # Cycles

    def plan(self, cycle: Message, **options: Any) -> Answer:
        """A launch cycle planned: who launches with which units of which lot.

        ``options`` are the other keys of the request, such as
        ``include_prices=True``. ``optimal`` says whether the allocation is
        proven best.
        """
        return self.ask("cycles:plan", {"cycle": cycle, **options})

    def plan_watched(self, cycle: Message, progress: Progress, *, timeout_s: float = 600.0, **options: Any) -> Answer:
        """As :meth:`plan`, with ``progress`` called as the work goes on."""
        with self.stream(
            "cycles:planStream", {"cycle": cycle, **options}, timeout_s=timeout_s, progress=progress
        ) as plans:
            plan = next(plans)
            # The closing line is what says that the plan is whole.
            for _ in plans:
                pass
        return plan

    def plan_table(self, cycle: Message, **options: Any) -> List[Row]:
        """A launch cycle planned, as rows: one a sortie, in launch order.

        Sorties that are held are rows too, with what holds them and what would
        release them.
        """
        return list(self.ask("cycles:tabulate", {"cycle": cycle, **options})["rows"])

    def compare(self, request: Message) -> Answer:
        """Variants of one cycle side by side."""
        return self.ask("cycles:compare", request)

    # The model

    def model(self) -> Answer:
        """Which model this is."""
        return self.ask("model")

    def check_model(self) -> Answer:
        """Values published elsewhere beside what the model computes today."""
        return self.ask("model:check")

    # Sweeps

    def estimate_sweep(self, site: str, spec: Message) -> Answer:
        """What a sweep would take: ``row_count``, ``cpu_s``, ``result_bytes``."""
        return self.ask(f"{site}/sweeps:estimate", {"spec": spec})

    def create_sweep(self, site: str, sweep_id: str, spec: Message, *, actor: str, request_id: str) -> Answer:
        """A sweep kept at a site, ``sites/{id}``, and queued; its ``name`` is in the answer.

        ``spec`` is a ``case``, the ``axes`` that vary (each a ``field`` of the
        case with ``values``, ``words``, a ``range`` or a ``distribution``) and a
        ``method``. The service computes it whether anybody waits or not.
        """
        body = {"sweep_id": sweep_id, "spec": spec, "actor": actor, "request_id": request_id}
        return self.ask(f"{site}/sweeps", body)

    def wait_sweep(self, name: str, *, every_s: float = 1.0, progress: Optional[Progress] = None) -> Answer:
        """Waits until a sweep has ended, and returns it; look at its ``state``.

        ``progress`` is called with the sweep each time that it was asked for:
        ``row_done_count`` of ``row_count``, ``left_s`` where it is known.
        """
        while True:
            sweep = self.ask(name)
            if sweep["state"] not in ("SWEEP_STATE_QUEUED", "SWEEP_STATE_RUNNING"):
                return sweep
            if progress is not None:
                progress(sweep)
            time.sleep(every_s)

    def sweep_rows(
        self, name: str, *, first_row: Optional[int] = None, row_count: Optional[int] = None, timeout_s: float = 600.0
    ) -> Stream:
        """The rows of a sweep in their order: inputs, ``outcome``, ``goes`` and results."""
        body = {"name": name, "format": "SWEEP_FORMAT_NDJSON", **_given(first_row=first_row, row_count=row_count)}
        return self.stream("sweeps:read", body, timeout_s=timeout_s)

    # Observed runs

    def record_run(self, site: str, run_id: str, run: Message, *, actor: str, request_id: str) -> Answer:
        """What one launch really did: lift-off mark in m, time in s, airspeed in m/s.

        ``conditions`` of the run is the case as it was, firing and all.
        """
        body = {"observed_run_id": run_id, "observed_run": run, "actor": actor, "request_id": request_id}
        return self.ask(f"{site}/observedRuns", body)

    def residuals(self, site: str, **query: Any) -> List[Row]:
        """Observed runs of a site beside what the model says of them, as rows."""
        return list(self.ask(f"{site}/observedRuns:tabulateResiduals", **query)["rows"])

    def fit_correction(self, site: str, aircraft_type: str, settings: Optional[Message] = None) -> Answer:
        """The correction of a type that the runs of a site speak for; kept nowhere."""
        body = {"aircraft_type": aircraft_type, **_given(settings=settings)}
        return self.ask(f"{site}/observedRuns:fitCorrection", body)

    # What is kept

    def aircraft_types(self) -> Iterator[Answer]:
        """The aircraft types of the catalog."""
        return self.every("aircraftTypes", "aircraft_types")

    def booster_types(self) -> Iterator[Answer]:
        """The booster types of the catalog."""
        return self.every("boosterTypes", "booster_types")

    def decks(self, site: str) -> Iterator[Answer]:
        """The decks of a site, ``sites/{id}``."""
        return self.every(f"{site}/decks", "decks")

    # Any call of the contract

    def ask(self, path: str, body: Optional[Message] = None, *, verb: str = "", **query: Any) -> Answer:
        """Any call by its path after ``/v1/``: GET without a body, else POST.

        It is sent again after a fault that passes where that is safe: it reads,
        it computes and keeps nothing, or it carries a ``request_id``.
        """
        verb = verb or ("GET" if body is None else "POST")
        return self.transport.ask(verb, _path(path, query), body, _repeatable(verb, path, body))

    def stream(
        self, path: str, body: Optional[Message] = None, *, timeout_s: float = 600.0, progress: Optional[Progress] = None, **query: Any
    ) -> Stream:
        """Any call of the contract that answers with a stream."""
        verb = "GET" if body is None else "POST"
        return self.transport.stream(verb, _path(path, query), body, timeout_s, progress)

    def every(self, path: str, key: str, **query: Any) -> Iterator[Answer]:
        """All entries of a list, page after page; ``key`` holds them."""
        token = ""
        while True:
            page = self.ask(path, **{**query, **({"page_token": token} if token else {})})
            yield from page[key]
            token = page.get("next_page_token") or ""
            if not token:
                return


def _path(path: str, query: Mapping[str, Any]) -> str:
    text = "/v1/" + urllib.parse.quote(path, safe="/:")
    given = {key: str(value).lower() if isinstance(value, bool) else value for key, value in query.items()}
    return text + ("?" + urllib.parse.urlencode(given, doseq=True) if given else "")


def _repeatable(verb: str, path: str, body: Optional[Message]) -> bool:
    family, _, command = path.partition(":")
    if verb == "GET" or family in ("takeoffs", "windLimits", "cycles", "model") or command in ("fitCorrection", "estimate"):
        return True
    return bool(body and body.get("request_id"))


def _given(**values: Any) -> Answer:
    return {key: value for key, value in values.items() if value is not None}


def _parts(cases: Iterable[Message]) -> Iterator["tuple[int, List[Message]]"]:
    first, part = 0, []
    for case in cases:
        part.append(case)
        if len(part) == _BATCH:
            yield first, part
            first, part = first + len(part), []
    if part:
        yield first, part
