"""The main job, played against the running service on the invented demo shop."""

from __future__ import annotations

import json
import logging
import signal
import socket
import textwrap
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import httpx

from service.assembly import Assembly, assemble, random_id, random_key, utc_now
from service.demo_artwork import DEMO_ARTWORK_ID, DEMO_HOLDER
from service.demo_receiver import LOOPBACK, Receiver, receiving
from service.domain.ticket import TicketDocument
from service.logs import configure_logs
from service.render.money_text import money_text
from service.render.ticket_text import ticket_text
from service.settings import Settings
from service.store.keys import new_key
from service.web.app import create_app, default_documentation
from service.web.examples import Example
from service.web.serving import server_for

STAFF_HOLDER = "demo-workroom"
WAIT_S = 20.0
DEMO_EVENTS = 3
Json = dict[str, Any]


def play_demo(data_dir: Path, port: int, *, stay: bool) -> int:
    """Play the job and, unless told to leave, stay up until interrupted; gives the exit code."""
    configure_logs(json_lines=False, level=logging.WARNING)
    with socket.socket() as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((LOOPBACK, port))
        address = f"http://{LOOPBACK}:{listening.getsockname()[1]}"
        assembly = assemble(_demo_settings(data_dir, address))
        documentation = default_documentation()
        examples = list(documentation.examples)
        app = create_app(assembly, documentation=replace(documentation, examples=examples))
        try:
            with _serving(app, listening), receiving() as receiver:
                play = Play(assembly, address, receiver)
                live_ids = play.run()
                # The examples at /docs then speak of the order that was just placed.
                examples[:] = [with_live_ids(example, live_ids) for example in examples]
                app.openapi_schema = None
                play.say_what_next(data_dir, stay=stay)
                if stay:
                    _until_interrupted()
        finally:
            assembly.close()
    return 0


def _demo_settings(data_dir: Path, address: str) -> Settings:
    """Settings that ask nothing of the environment, so that the demo is the same everywhere."""
    return Settings(
        data_dir=data_dir,
        database_url="",
        files_url="",
        catalogue_path=None,
        secret_key=None,
        public_url=address,
        docs=True,
        webhook_private_addresses=True,
        webhook_sender=True,
    )


@contextmanager
def _serving(app: Any, listening: socket.socket) -> Iterator[None]:  # noqa: ANN401 - an ASGI app
    server = server_for(app, LOOPBACK, listening.getsockname()[1])
    thread = threading.Thread(target=server.run, args=([listening],), name="server", daemon=True)
    thread.start()
    try:
        deadline = time.monotonic() + WAIT_S
        while not server.started and thread.is_alive() and time.monotonic() < deadline:
            time.sleep(0.02)
        if not server.started:
            raise OSError("the service did not start")
        yield
    finally:
        server.should_exit = True
        thread.join(WAIT_S)


class Play:
    """The storefront's calls, one after another, each shown with what came back."""

    def __init__(self, assembly: Assembly, address: str, receiver: Receiver) -> None:
        """Make a key for the storefront and one for the workroom."""
        self._address = address
        self._receiver = receiver
        self.storefront_key = _make_key(assembly, DEMO_HOLDER, "storefront")
        self.staff_key = _make_key(assembly, STAFF_HOLDER, "staff")

    def run(self) -> Mapping[str, str]:
        """Play the job; gives example ids and the live ids that take their place."""
        shop = self._call("GET", "/v1/catalogue")
        _say(f"{shop['shop']} (an invented shop) is open at {self._address}")
        self._refusal()
        self._acceptance("2. The same artwork as printed film", "printed-film")
        self._acceptance("3. The same artwork as dye on glitter film", "dye-on-glitter-film")
        quote = self._quote()
        endpoint = self._endpoint()
        order = self._order(quote["id"])
        number = order["tickets"][0]["number"]
        self._ticket(number)
        self._told(order["id"], number)
        still_open = self._ask_quote()
        return {
            "quote_0000000000000000000001": still_open["id"],
            "order_0000000000000000000001": order["id"],
            "whe_0000000000000000000001": endpoint["id"],
            "T000001": number,
        }

    def _refusal(self) -> None:
        _head("1. Dye transfer straight onto a black cotton T-shirt")
        decoration = self._check("dye-transfer")["decorations"][0]
        _say(f"works: {decoration['works']}")
        for finding in decoration["candidates"][0]["findings"]:
            _say(f"- {finding['reason']}")
        for clash in decoration["conflicts"]:
            _say(f"cannot all hold: {' with '.join(clash['choices'])} ({clash['because']})")
        _say("what would work instead:")
        for alternative in decoration["alternatives"]:
            _say(f"- change {' and '.join(alternative['changes'])}: {alternative['because']}")

    def _acceptance(self, heading: str, method: str) -> None:
        _head(heading)
        decoration = self._check(method)["decorations"][0]
        candidate = decoration["candidates"][0]
        strike, look = candidate["strikes"][-1], candidate["look"]
        _say(
            f"works: {decoration['works']}; last strike {strike['set_c']:g} °C "
            f"({strike['set_f']:g} °F), {strike['dwell_s']:g} s, {strike['pressure']} pressure"
        )
        _say(
            f"predicted look, not a guarantee: {look['band']}, mean colour difference "
            f"{look['mean_delta_e']:g} (CIEDE2000)"
        )

    def _quote(self) -> Json:
        _head("4. A quote")
        quote = self._ask_quote()
        total = quote["total"]
        _say(
            f"{money_text(total['amount'], total['currency'])} for 5 pieces, leaves on "
            f"{quote['promise']['day']} ({quote['promise']['reason']}); stands until "
            f"{quote['expires_at']}"
        )
        return quote

    def _ask_quote(self) -> Json:
        return self._call("POST", "/v1/quotes", json={"lines": [_line("dye-on-glitter-film")]})

    def _endpoint(self) -> Json:
        _head("5. A webhook endpoint")
        for earlier in self._call("GET", "/v1/webhook-endpoints")["endpoints"]:
            self._call("DELETE", f"/v1/webhook-endpoints/{earlier['id']}")
        endpoint = self._call("POST", "/v1/webhook-endpoints", json={"url": self._receiver.address})
        self._receiver.secret = endpoint["secret"]
        _say(f"{endpoint['url']} will be told; its secret was shown once")
        return endpoint

    def _order(self, quote_id: str) -> Json:
        _head("6. An order, accepted exactly as quoted")
        order = self._call(
            "POST",
            "/v1/orders",
            json={"quote_id": quote_id, "reference": "invented-1001"},
            headers={"Idempotency-Key": random_id("demo")},
        )
        numbers = ", ".join(ticket["number"] for ticket in order["tickets"])
        _say(f"{order['id']}: {order['state']}, promised {order['promised_day']}, {numbers}")
        return order

    def _ticket(self, number: str) -> None:
        _head("7. Its ticket at the bench")
        ticket = self._call("GET", f"/v1/tickets/{number}", key=self.staff_key)
        document = TicketDocument.model_validate(ticket["document"])
        _say_lines(ticket_text(number, date.fromisoformat(ticket["promised_day"]), document))
        self._at_bench(number, "moves", move="start")
        for size, count in document.pieces_by_size.items():
            self._at_bench(number, "pieces", kind="done", size=size, count=count)
        self._at_bench(number, "moves", move="finish")

    def _at_bench(self, number: str, what: str, **said: str | int) -> None:
        body = {"who": "invented hand", **said}
        self._call("POST", f"/v1/tickets/{number}/{what}", key=self.staff_key, json=body)

    def _told(self, order_id: str, number: str) -> None:
        _head("8. What the storefront was told, signed and verified")
        for _ in range(DEMO_EVENTS):
            message_id, event = self._receiver.told.get(timeout=WAIT_S)
            data = event["data"]
            if data["order_id"] != order_id:
                raise OSError(f"told of {data['order_id']} in place of {order_id}")
            what = f"{number} {data['state']}" if "state" in data else data["order_state"]
            _say(f"{event['type']} no. {data['sequence']}: {what} ({message_id})")

    def _check(self, method: str) -> Json:
        answer = self._call("POST", "/v1/checks", json={"lines": [_line(method)]})
        line: Json = answer["lines"][0]
        return line

    def _call(self, verb: str, path: str, *, key: str | None = None, **sent: Any) -> Json:  # noqa: ANN401
        headers = {"Authorization": f"Bearer {key or self.storefront_key}"}
        headers |= sent.pop("headers", {})
        with httpx.Client(base_url=self._address, trust_env=False, timeout=WAIT_S) as client:
            response = client.request(verb, path, headers=headers, **sent)
        if not response.is_success:
            raise OSError(f"{verb} {path} answered {response.status_code}: {response.text}")
        answer: Json = response.json() if response.content else {}
        return answer

    def say_what_next(self, data_dir: Path, *, stay: bool) -> None:
        """Where to go from here."""
        _head("What next")
        if stay:
            _say(f"Try every operation, examples filled in: {self._address}/docs")
            _say(f"Try choices in a browser, with the storefront key: {self._address}/try")
            _say(f"Work on the ticket at the bench, with the staff key: {self._address}/bench")
            _say(f"  storefront key: {self.storefront_key}")
            _say(f"  staff key:      {self.staff_key}")
            _say("Stop with Ctrl-C.")
        _say(f"All that was made lies in {data_dir}; delete the folder to be rid of it.")
        _say("Run it for yourself: garment-intake keys add ...; garment-intake serve")


def with_live_ids(example: Example, live_ids: Mapping[str, str]) -> Example:
    """The example, speaking of live ids in place of those it was written with."""

    def live(value: object) -> Any:  # noqa: ANN401 - JSON in, JSON out
        text = json.dumps(value)
        for written, now in live_ids.items():
            text = text.replace(written, now)
        return json.loads(text)

    return replace(
        example,
        path=live(example.path),
        body=live(example.body),
        answer=live(example.answer),
    )


def _line(method: str) -> Json:
    return {
        "blank": "classic-cotton-tee",
        "colour": "black",
        "sizes": {"M": 3, "L": 2},
        "decorations": [
            {
                "placement": "front",
                "artwork_id": DEMO_ARTWORK_ID,
                "width_mm": 240,
                "method": method,
            }
        ],
    }


def _make_key(assembly: Assembly, holder: str, scope: str) -> str:
    return assembly.database.write(
        lambda session: new_key(
            session,
            holder=holder,
            scope=scope,
            label="demonstration",
            now=utc_now(),
            secret=random_key(),
            key_id=random_id("key"),
        )
    )


def _until_interrupted() -> None:
    """Wait for Ctrl-C or a polite kill."""
    told = threading.Event()
    for signal_number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(signal_number, lambda *_: told.set())
    told.wait()
    print()


def _head(text: str) -> None:
    print(f"\n{text}", flush=True)


def _say(text: str) -> None:
    indent = "     " if text.startswith("- ") else "   "
    print(textwrap.fill(text, 98, initial_indent="   ", subsequent_indent=indent), flush=True)


def _say_lines(text: str) -> None:
    for line in text.splitlines():
        print(f"   {line}", flush=True)
