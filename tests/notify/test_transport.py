"""The way out: only to checked addresses, nothing followed, kept or believed (rules S2, S5)."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from time import monotonic
from typing import TypeVar

import httpcore
import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from service.notify.addresses import Resolver
from service.notify.transport import GuardedTransport, Reply, post
from tests.notify.receiver import Receiver, Writer, answer, close, hang

T = TypeVar("T")
NO_AUTHORITIES = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)

PUBLIC = "11.22.33.44"
OK = b"HTTP/1.1 204 No Content\r\ncontent-length: 0\r\nconnection: close\r\n\r\n"


def resolving(*answers: Sequence[str]) -> Resolver:
    """A resolver that gives each of ``answers`` once, in order."""
    left = list(answers)

    async def resolve(_host: str, _port: int) -> Sequence[str]:
        return left.pop(0)

    return resolve


class FakeNetwork(httpcore.AsyncNetworkBackend):
    """Records the addresses connected to; those in ``dead`` refuse."""

    def __init__(self, *dead: str) -> None:
        self.connected: list[tuple[str, int]] = []
        self._dead = dead

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,  # noqa: ASYNC109 -- the parent's signature
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Take the connection note and answer 204 to whatever is sent."""
        assert timeout is not None
        assert (local_address, socket_options) == (None, None)
        self.connected.append((host, port))
        if host in self._dead:
            raise httpcore.ConnectError("refused")
        return httpcore.AsyncMockStream([OK])


def send_through(
    network: FakeNetwork, resolver: Resolver, *, times: int = 1, allow_private: bool = False
) -> list[Reply]:
    """POST ``times`` times to one https URL over the fake network."""

    async def run() -> list[Reply]:
        async with GuardedTransport(
            allow_private=allow_private,
            resolver=resolver,
            inner=network,
            ssl_context=NO_AUTHORITIES,
        ) as transport:
            url = "https://shop.example/hooks"
            return [await post(transport, url, b"{}", {}, 5.0) for _ in range(times)]

    return asyncio.run(run())


def test_name_that_changes_its_address_gains_nothing() -> None:
    """Rebinding: public first, then loopback. The call goes to the first; the next one nowhere."""
    network = FakeNetwork()
    first, second = send_through(network, resolving([PUBLIC], ["127.0.0.1"]), times=2)
    assert network.connected == [(PUBLIC, 443)]
    assert first.status == 204
    assert (second.status, second.fault) == (None, "AddressRefused")


@pytest.mark.parametrize(
    "inner", ["127.0.0.1", "10.0.0.1", "169.254.169.254", "::1", "::ffff:10.0.0.1", "fe80::1%eth0"]
)
@pytest.mark.parametrize("place", [0, 1])
def test_one_inner_address_is_enough_to_refuse(inner: str, place: int) -> None:
    """If ANY address of the name is not public, none is connected to (rule S2)."""
    network = FakeNetwork()
    found = [PUBLIC, "2600::1"]
    found.insert(place, inner)
    assert send_through(network, resolving(found))[0].fault == "AddressRefused"
    assert network.connected == []


def test_trying_out_reaches_loopback_and_never_link_local() -> None:
    """With private addresses allowed, 127.0.0.1 is called and 169.254.169.254 is not."""
    network = FakeNetwork()
    found = resolving(["127.0.0.1"], ["169.254.169.254"])
    answers = send_through(network, found, times=2, allow_private=True)
    assert [each.status for each in answers] == [204, None]
    assert network.connected == [("127.0.0.1", 443)]


def test_next_checked_address_is_tried_when_one_is_dead() -> None:
    """A receiver whose first address does not answer is reached over its second."""
    network = FakeNetwork("2600::1")
    assert send_through(network, resolving(["2600::1", PUBLIC]))[0].status == 204
    assert network.connected == [("2600::1", 443), (PUBLIC, 443)]


@pytest.mark.parametrize("dead", [True, False])
def test_no_address_or_no_answer_is_a_plain_failure(*, dead: bool) -> None:
    """A dead address and an unknown name are failures without a status."""

    async def unknown(_host: str, _port: int) -> Sequence[str]:
        raise OSError("unknown")

    network = FakeNetwork(PUBLIC)
    resolver = resolving([PUBLIC]) if dead else unknown
    assert send_through(network, resolver) == [Reply(None, fault="ConnectError")]


@asynccontextmanager
async def local_transport(
    resolver: Resolver | None = None, tls: ssl.SSLContext | None = None
) -> AsyncIterator[GuardedTransport]:
    """The real transport, allowed to reach this machine."""
    found = resolver or resolving(*[["127.0.0.1"]] * 20)
    async with GuardedTransport(
        allow_private=True, resolver=found, ssl_context=tls or NO_AUTHORITIES
    ) as transport:
        yield transport


def ask(
    receiver: Receiver,
    work: Callable[[GuardedTransport], Awaitable[T]],
    *,
    tls: ssl.SSLContext | None = None,
) -> T:
    """Run ``work`` while ``receiver`` listens."""

    async def run() -> T:
        async with receiver, local_transport(tls=tls) as transport:
            return await work(transport)

    return asyncio.run(run())


def post_to(
    receiver: Receiver, body: bytes = b'{"a": 1}', deadline_s: float = 5.0
) -> Callable[[GuardedTransport], Awaitable[Reply]]:
    """One POST to ``receiver``."""
    return lambda transport: post(transport, receiver.url, body, {"x-one": "1"}, deadline_s)


def test_very_bytes_and_plain_headers_arrive() -> None:
    """The body comes byte for byte, under our user agent, with nothing of the HTTP library's."""
    receiver = Receiver()
    body = '{"ü":  1,\n"a":"☃"}'.encode()
    assert ask(receiver, post_to(receiver, body)) == Reply(200)
    (got,) = receiver.received
    assert (got.method, got.target, got.body) == ("POST", "/hooks", body)
    assert got.headers == {
        "host": f"127.0.0.1:{receiver.port}",
        "user-agent": "garment-intake",
        "accept": "*/*",
        "x-one": "1",
        "content-length": str(len(body)),
    }


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_redirects_are_not_followed(status: int) -> None:
    """A redirect is an answer like any other; nobody goes where it points (rule S5)."""
    receiver = Receiver(answer(status, "location: /elsewhere"))
    assert ask(receiver, post_to(receiver)).status == status
    assert len(receiver.received) == 1


def test_proxy_and_password_files_of_the_environment_are_not_used(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Proxy variables and stored credentials change nothing (rule S5, trust_env)."""
    netrc = tmp_path / "netrc"
    netrc.write_text("machine 127.0.0.1 login someone password word\n")
    monkeypatch.setenv("NETRC", str(netrc))
    for name in ("HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
        monkeypatch.setenv(name, "http://127.0.0.1:1")
    receiver = Receiver()
    assert ask(receiver, post_to(receiver)).status == 200
    assert "authorization" not in receiver.received[0].headers


def test_cookies_are_not_kept() -> None:
    """What a receiver sets is not sent back, to it or to another holder on the same host."""
    receiver = Receiver(answer(200, "set-cookie: a=b; path=/"))

    async def twice(transport: GuardedTransport) -> None:
        for _ in range(2):
            await post_to(receiver)(transport)

    ask(receiver, twice)
    assert "cookie" not in receiver.received[1].headers
    assert receiver.connections == 1


def test_retry_after_is_given_on() -> None:
    """The answer carries the receiver's wish to be left alone for a while."""
    receiver = Receiver(answer(503, "Retry-After: 120"))
    assert ask(receiver, post_to(receiver)) == Reply(503, retry_after="120")


def test_slow_receiver_ends_at_the_deadline() -> None:
    """The whole attempt is bounded, and the transport is of use afterwards."""
    receiver = Receiver(hang, hang)

    async def work(transport: GuardedTransport) -> list[Reply]:
        return [await post_to(receiver, deadline_s=after)(transport) for after in (0.1, 0.1, 5.0)]

    began = monotonic()
    slow, slower, good = ask(receiver, work)
    assert slow.status is slower.status is None
    assert good == Reply(200)
    assert monotonic() - began < 3


def test_many_missed_deadlines_use_up_no_connections() -> None:
    """After a crowd of missed deadlines the next attempt still goes out at once."""
    slow, good = Receiver(otherwise=hang), Receiver()

    async def run() -> Reply:
        found = resolving(*[["127.0.0.1"]] * 200)
        async with slow, good, local_transport(found) as transport:
            for crowd in (40, 17, 40):
                posts = [post_to(slow, deadline_s=0.1)(transport) for _ in range(crowd)]
                assert {each.status for each in await asyncio.gather(*posts)} == {None}
            return await post_to(good)(transport)

    began = monotonic()
    assert asyncio.run(run()) == Reply(200)
    assert monotonic() - began < 4


def test_dripping_body_ends_at_the_deadline() -> None:
    """The status line decides; a body that drips on for ever ends with the deadline."""

    async def drip(writer: Writer) -> None:
        writer.write(b"HTTP/1.1 200 OK\r\ncontent-length: 1000\r\n\r\n")
        while not writer.is_closing():
            writer.write(b"x")
            await writer.drain()
            await asyncio.sleep(0.02)

    began = monotonic()
    receiver = Receiver(drip)
    assert ask(receiver, post_to(receiver, deadline_s=0.2)) == Reply(200)
    assert monotonic() - began < 2


def test_giant_body_is_read_to_a_cap() -> None:
    """Of an endless body a little is read and dropped; the connection is closed (rule S5)."""
    written = 0

    async def flood(writer: Writer) -> None:
        nonlocal written
        writer.write(b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n")
        while True:
            writer.write(b"10000\r\n" + b"x" * 65_536 + b"\r\n")
            await writer.drain()
            written += 65_536

    receiver = Receiver(flood)
    assert ask(receiver, post_to(receiver)) == Reply(200)
    assert written < 16_000_000


def test_endless_headers_are_given_up() -> None:
    """Headers without an end are no answer."""

    async def flood(writer: Writer) -> None:
        writer.write(b"HTTP/1.1 200 OK\r\n")
        while True:
            writer.write(b"x-more: " + b"x" * 8_000 + b"\r\n")
            await writer.drain()

    receiver = Receiver(flood)
    assert ask(receiver, post_to(receiver)).status is None


@pytest.mark.parametrize("first", [close, answer(99), answer(1_000)], ids=["close", "99", "1000"])
def test_receiver_that_closes_or_talks_nonsense_gives_no_answer(
    first: Callable[[Writer], Awaitable[None]],
) -> None:
    """A closed connection or a broken answer is a failure without a status, never an error."""
    receiver = Receiver(first)
    assert ask(receiver, post_to(receiver, deadline_s=1.0)).status is None


def test_text_that_is_no_http_gives_no_answer() -> None:
    """A mail server, say, is no receiver."""

    async def greet(writer: Writer) -> None:
        writer.write(b"220 mail.example ready\r\n")

    receiver = Receiver(greet)
    assert ask(receiver, post_to(receiver, deadline_s=0.2)).status is None


@pytest.mark.parametrize("url", ["ftp://shop.example/", "https://", "https://xn--a.example/"])
def test_url_that_cannot_be_called_gives_no_answer(url: str) -> None:
    """A stored URL of no use fails its attempt and raises nothing."""

    async def run() -> Reply:
        async with local_transport() as transport:
            return await post(transport, url, b"{}", {}, 1.0)

    assert asyncio.run(run()).status is None


def certificate_for(name: str, folder: Path) -> tuple[ssl.SSLContext, ssl.SSLContext]:
    """TLS contexts of a server called ``name`` and of a client that trusts it."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.now(tz=UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(hours=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    pem = certificate.public_bytes(serialization.Encoding.PEM)
    secret = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    (folder / "both.pem").write_bytes(pem + secret)
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    server.load_cert_chain(folder / "both.pem")
    return server, ssl.create_default_context(cadata=pem.decode())


def test_tls_name_and_host_header_stay_those_of_the_url(tmp_path: Path) -> None:
    """The checked address is called, but by the URL's name in TLS and in the Host header (S2)."""
    server, client = certificate_for("shop.example", tmp_path)
    asked: list[str] = []
    server.sni_callback = lambda _socket, name, _context: asked.append(name)
    receiver = Receiver(tls=server)

    async def work(transport: GuardedTransport) -> Reply:
        url = f"https://shop.example:{receiver.port}/hooks"
        return await post(transport, url, b"{}", {}, 5.0)

    assert ask(receiver, work, tls=client) == Reply(200)
    assert asked == ["shop.example"]
    assert receiver.received[0].headers["host"] == f"shop.example:{receiver.port}"


def test_certificate_of_another_name_is_refused(tmp_path: Path) -> None:
    """A certificate serves its own name only, even on the same address and port."""
    server, client = certificate_for("shop.example", tmp_path)
    receiver = Receiver(tls=server)

    async def work(transport: GuardedTransport) -> list[int | None]:
        names = ("shop.example", "other.example", "shop.example")
        urls = [f"https://{name}:{receiver.port}/hooks" for name in names]
        return [(await post(transport, url, b"{}", {}, 5.0)).status for url in urls]

    assert ask(receiver, work, tls=client) == [200, None, 200]
    assert len(receiver.received) == 2


def test_certificate_nobody_vouches_for_is_refused(tmp_path: Path) -> None:
    """Without a context of its own the transport believes public authorities only."""
    server, _ = certificate_for("shop.example", tmp_path)
    receiver = Receiver(tls=server)

    async def run() -> Reply:
        found = resolving(["127.0.0.1"])
        async with receiver, GuardedTransport(allow_private=True, resolver=found) as transport:
            url = f"https://shop.example:{receiver.port}/hooks"
            return await post(transport, url, b"{}", {}, 5.0)

    assert asyncio.run(run()).status is None
    assert receiver.received == []


def test_errors_are_those_of_httpx() -> None:
    """Whoever uses the transport in a client meets the client library's own errors."""

    async def run() -> None:
        network = FakeNetwork(PUBLIC)
        async with httpx.AsyncClient(
            transport=GuardedTransport(
                allow_private=False, resolver=resolving([PUBLIC]), inner=network
            )
        ) as client:
            await client.post("https://shop.example/")

    with pytest.raises(httpx.ConnectError):
        asyncio.run(run())
