"""Every endpoint beside its bare twin, in turn, so that what slows the machine slows both."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import httpx

from service.store.database import Database
from tests.benchmarks.back_room import make_keys, prepare_quotes, stored_chars, waiting_tickets
from tests.benchmarks.bare import Twin
from tests.benchmarks.figures import Burst, shares, summarise, times_as_long
from tests.benchmarks.load import LOOPBACK, Job, LoadProcess, load_process
from tests.benchmarks.servers import Server, serve_bare, serve_real, serving, settings_for
from tests.benchmarks.shop_calls import (
    ALONE,
    ENDPOINTS,
    FEW,
    Call,
    Endpoint,
    Shown,
    accept_call,
    call_of,
    move_call,
    new_calls,
)
from tests.benchmarks.stores import Store
from tests.benchmarks.table import Row

WAIT_S = 30.0
LEAST_ROUNDS = 3
FIRST_ORDERS = 60
"""Orders placed before anything is measured, so that a page of 50 tickets is full."""

MOST_ORDERS = 2_000
SIZES_DIFFER_BY = 0.005
"""Share of an answer by which its twin's may differ: numbers within it grow by a digit."""

ORDERS_A_SECOND = 400
"""Quotes prepared for each second of accepting; a burst that has used up its share ends early."""


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to measure: rounds, seconds of a burst, of warming up, and of a function.

    After ``LEAST_ROUNDS`` no further round begins once an endpoint has taken ``endpoint_s``.
    """

    rounds: int
    burst_s: float
    endpoint_s: float
    warm_up_s: float
    function_s: float


def measure_endpoints(
    store: Store, folder: Path, effort: Effort, endpoints: Sequence[Endpoint], picture: bytes
) -> Iterator[Row]:
    """A row for each endpoint, as it is measured, on one store."""
    with ExitStack() as stack:
        real = stack.enter_context(serving(serve_real, settings_for(folder, store.real_url)))
        load = stack.enter_context(load_process())
        database = Database.open(store.real_url)
        stack.callback(database.close)
        client = stack.enter_context(httpx.Client(trust_env=False, timeout=WAIT_S))
        shop = _Shop(database, real, load, client, picture)
        twins = [shop.twin_of(endpoint) for endpoint in ENDPOINTS]
        bare = stack.enter_context(serving(serve_bare, store.bare_url, twins))
        for endpoint in endpoints:
            yield _Duel(shop, bare, effort, endpoint).row()


class _Shop:
    """The running service with what its callers hold: keys, a quote and a ticket to look at."""

    def __init__(
        self,
        database: Database,
        server: Server,
        load: LoadProcess,
        client: httpx.Client,
        picture: bytes,
    ) -> None:
        self.database = database
        self.server = server
        self.load = load
        self._client = client
        self.keys = make_keys(database)
        quote_id = self._ask(call_of("quote", Shown(picture)))["id"]
        accepting = [endpoint.slug for endpoint in ENDPOINTS if endpoint.uses_up == "quotes"]
        quotes = prepare_quotes(database, quote_id, FIRST_ORDERS + len(accepting))
        self._spare_quotes = dict(zip(accepting, quotes, strict=False))
        first = [accept_call(id_).wire(self.keys) for id_ in quotes[len(accepting) :]]
        load.burst(Job(server.port, tuple(first), repeat=False, connections=FEW, seconds=WAIT_S))
        ticket, self._spare_ticket = waiting_tickets(database, 2)
        self.shown = Shown(picture, quote_id, ticket)

    def twin_of(self, endpoint: Endpoint) -> Twin:
        """A twin with the bodies of the endpoint's own call, which is sent once."""
        before = stored_chars(self.database) if endpoint.durable else 0
        answer = self.send(self.example(endpoint))
        written = stored_chars(self.database) - before if endpoint.durable else None
        return Twin(
            verb=endpoint.verb,
            path=f"/{endpoint.slug}{endpoint.path}",
            status=endpoint.status,
            asks=endpoint.asks,
            answers=endpoint.answers,
            answer_json=answer.text,
            row_chars=written,
            upload=endpoint.upload,
        )

    def example(self, endpoint: Endpoint) -> Call:
        """One call of the endpoint."""
        if endpoint.uses_up == "quotes":
            return accept_call(self._spare_quotes[endpoint.slug])
        if endpoint.uses_up == "tickets":
            return move_call(self._spare_ticket)
        return call_of(endpoint.slug, self.shown)

    def to_use_up(self, endpoint: Endpoint, effort: Effort) -> list[Call]:
        """Calls that each can be made once, enough for the whole effort as a rule."""
        if endpoint.uses_up == "tickets":
            return [move_call(number) for number in waiting_tickets(self.database, MOST_ORDERS)]
        wanted = int((effort.rounds * effort.burst_s + effort.warm_up_s) * ORDERS_A_SECOND)
        ids = prepare_quotes(self.database, self.shown.quote_id, min(wanted, MOST_ORDERS))
        return [accept_call(id_) for id_ in ids]

    def send(self, call: Call, prefix: str = "", server: Server | None = None) -> httpx.Response:
        """The answer to one call; ``OSError`` unless it is a good one."""
        address = f"http://{LOOPBACK}:{(server or self.server).port}{prefix}{call.path}"
        headers = {
            "Authorization": f"Bearer {self.keys[call.key]}",
            "Content-Type": call.content_type,
            **call.headers,
        }
        answer = self._client.request(call.verb, address, headers=headers, content=call.body)
        if not answer.is_success:
            raise OSError(f"{call.verb} {call.path} answered {answer.status_code}: {answer.text}")
        return answer

    def _ask(self, call: Call) -> dict[str, str]:
        answer: dict[str, str] = self.send(call).json()
        return answer


class _Duel:
    """One endpoint and its twin, burst after burst."""

    def __init__(self, shop: _Shop, bare: Server, effort: Effort, endpoint: Endpoint) -> None:
        self._shop = shop
        self._bare_server = bare
        self._effort = replace(
            effort,
            burst_s=endpoint.longer * effort.burst_s,
            endpoint_s=endpoint.longer * effort.endpoint_s,
        )
        self._endpoint = endpoint
        self._turns = self._real_turns()

    def row(self) -> Row:
        """Warm both sides up, then send bursts to each in turn, the first of a pair changing."""
        remark = self._size_remark()
        self._real(0, self._effort.warm_up_s)
        self._bare(self._effort.warm_up_s)
        real: list[Burst] = []
        bare: list[Burst] = []
        ends_at = time.perf_counter() + self._effort.endpoint_s
        for turn in range(1, self._effort.rounds + 1):
            if turn > LEAST_ROUNDS and time.perf_counter() > ends_at:
                break
            if turn % 2:
                real.append(self._real(turn, self._effort.burst_s))
            bare.append(self._bare(self._effort.burst_s))
            if not turn % 2:
                real.append(self._real(turn, self._effort.burst_s))
        ours, baseline = summarise(real), summarise(bare)
        if self._endpoint.connections == ALONE:
            # Nothing waits in line, so the medians tell what one call adds to the bare one.
            remark += f", {1e3 * (ours.p50_s - baseline.p50_s):.1f} ms less at the median"
        return Row(
            what=self._endpoint.what,
            ours=ours,
            beside=("bare durable insert" if self._endpoint.durable else "bare endpoint") + remark,
            baseline=baseline,
            ratio=times_as_long(real, bare),
        )

    def _real_turns(self) -> list[tuple[bytes, ...]]:
        """Requests of the warming up and of each round."""
        rounds = self._effort.rounds + 1
        if self._endpoint.always_new:
            calls = new_calls(self._endpoint.slug)
            return self._shared([call.wire(self._shop.keys) for call in calls], rounds)
        if not self._endpoint.uses_up:
            return [(self._shop.example(self._endpoint).wire(self._shop.keys),)] * rounds
        calls = self._shop.to_use_up(self._endpoint, self._effort)
        return self._shared([call.wire(self._shop.keys) for call in calls], rounds)

    def _shared(self, wires: Sequence[bytes], rounds: int) -> list[tuple[bytes, ...]]:
        return [tuple(wires[index] for index in share) for share in shares(len(wires), rounds)]

    def _real(self, turn: int, seconds: float) -> Burst:
        requests = self._turns[turn]
        repeat = not self._endpoint.uses_up and not self._endpoint.always_new
        return self._burst(self._shop.server, requests, seconds, repeat=repeat)

    def _bare(self, seconds: float) -> Burst:
        call = self._shop.example(self._endpoint)
        request = call.wire(self._shop.keys, f"/{self._endpoint.slug}")
        return self._burst(self._bare_server, (request,), seconds, repeat=True)

    def _burst(
        self, server: Server, requests: tuple[bytes, ...], seconds: float, *, repeat: bool
    ) -> Burst:
        connections = self._endpoint.connections
        before_s = server.processor_s()
        burst = self._shop.load.burst(Job(server.port, requests, repeat, connections, seconds))
        return replace(burst, processor_s=server.processor_s() - before_s)

    def _size_remark(self) -> str:
        """Empty where both answers are as long as each other, as they should be."""
        if self._endpoint.uses_up:
            return ""  # the twin was made from the one answer that such a call has
        call = self._shop.example(self._endpoint)
        real = len(self._shop.send(call).content)
        bare = len(self._shop.send(call, f"/{self._endpoint.slug}", self._bare_server).content)
        close = abs(real - bare) <= real * SIZES_DIFFER_BY
        return "" if close else f" ({bare:,} bytes for {real:,})"
