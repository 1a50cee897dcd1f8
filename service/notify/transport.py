"""The way out: one POST to a checked address, with nothing followed, kept or believed.

Names are resolved once per connection and the connection goes to an address that was checked, so
that a name which changes its address between check and call gains nothing. Host header and TLS
name stay those of the URL. Using a transport and no client leaves out redirects, cookies, proxy
variables and stored credentials by construction.
"""

from __future__ import annotations

import ssl
from collections.abc import AsyncIterable, AsyncIterator, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

import anyio
import httpcore
import httpx

from service.notify.addresses import Resolver, address_is_allowed, system_resolver

BODY_READ_MAX_BYTES = 16 * 1_024
CONNECT_TIMEOUT_S = 5.0
KEEP_ALIVE_S = 5.0
ADDRESSES_TRIED_MAX = 3
USER_AGENT = "garment-intake"


class AddressRefused(httpx.ConnectError):
    """The host name leads, also or only, to an address that must not be called."""


class GuardedBackend(httpcore.AsyncNetworkBackend):
    """Resolves a name once, checks every address found and connects to one of those.

    ``inner`` opens the connections and is given addresses only, never a name.
    """

    def __init__(
        self, resolver: Resolver, inner: httpcore.AsyncNetworkBackend, *, allow_private: bool
    ) -> None:
        self._resolver = resolver
        self._inner = inner
        self._allow_private = allow_private

    async def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,  # noqa: ASYNC109 -- the parent's signature
        local_address: str | None = None,
        socket_options: Iterable[httpcore.SOCKET_OPTION] | None = None,
    ) -> httpcore.AsyncNetworkStream:
        """Connect to the first checked address that answers.

        Raises ``AddressRefused`` if any address of ``host`` is forbidden, and httpcore's
        ``ConnectError`` or ``ConnectTimeout`` if there is none or none answers.
        """
        failure: Exception = httpcore.ConnectError("no address")
        for address in (await self._checked(host, port))[:ADDRESSES_TRIED_MAX]:
            try:
                return await self._inner.connect_tcp(
                    address, port, timeout, local_address, socket_options
                )
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                failure = error
        raise failure

    async def _checked(self, host: str, port: int) -> Sequence[str]:
        try:
            found = await self._resolver(host, port)
        except OSError as error:
            raise httpcore.ConnectError("the name does not resolve") from error
        if not all(address_is_allowed(ip, allow_private=self._allow_private) for ip in found):
            raise AddressRefused("an address of the host name must not be called")
        return found


class GuardedTransport(httpx.AsyncBaseTransport):
    """HTTP/1.1 over a ``GuardedBackend``; certificates are always verified.

    Connections are kept per host NAME, so a certificate checked for one name never serves another.
    ``ssl_context`` replaces the public certificate bundle, for a shop with its own authority.
    """

    def __init__(
        self,
        *,
        allow_private: bool,
        resolver: Resolver = system_resolver,
        inner: httpcore.AsyncNetworkBackend | None = None,
        ssl_context: ssl.SSLContext | None = None,
        kept_alive_max: int = 16,
    ) -> None:
        # The number of connections is bounded by who sends: a request that queued in the pool and
        # was given up just as its turn came would leave a connection that is never used nor freed.
        self._pool = httpcore.AsyncConnectionPool(
            ssl_context=ssl_context or httpx.create_ssl_context(trust_env=False),
            max_connections=None,
            max_keepalive_connections=kept_alive_max,
            keepalive_expiry=KEEP_ALIVE_S,
            network_backend=GuardedBackend(
                resolver, inner or httpcore.AnyIOBackend(), allow_private=allow_private
            ),
        )

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        """Send ``request``; raises ``httpx.TransportError``, also as ``AddressRefused``."""
        with _as_httpx_errors():
            response = await self._pool.handle_async_request(
                httpcore.Request(
                    method=request.method,
                    url=httpcore.URL(
                        scheme=request.url.raw_scheme,
                        host=request.url.raw_host,
                        port=request.url.port,
                        target=request.url.raw_path,
                    ),
                    headers=request.headers.raw,
                    content=request.stream,
                    extensions=request.extensions,
                )
            )
        return httpx.Response(
            response.status, headers=response.headers, stream=_Body(response), request=request
        )

    async def aclose(self) -> None:
        """Close every kept connection."""
        await self._pool.aclose()


class _Body(httpx.AsyncByteStream):
    """The receiver's body as it comes in; never decompressed."""

    def __init__(self, response: httpcore.Response) -> None:
        self._response = response

    async def __aiter__(self) -> AsyncIterator[bytes]:
        stream = self._response.stream
        if isinstance(stream, AsyncIterable):
            with _as_httpx_errors():
                async for part in stream:
                    yield part

    async def aclose(self) -> None:
        await self._response.aclose()


@contextmanager
def _as_httpx_errors() -> Iterator[None]:
    """Both libraries name their errors alike; callers of a transport expect httpx's."""
    try:
        yield
    except (
        httpcore.TimeoutException,
        httpcore.NetworkError,
        httpcore.ProtocolError,
        httpcore.UnsupportedProtocol,
    ) as error:
        kind = getattr(httpx, type(error).__name__, httpx.TransportError)
        raise kind(str(error)) from error


@dataclass(frozen=True, slots=True)
class Reply:
    """What came of one POST.

    ``status`` and ``retry_after`` are the receiver's; without an answer ``status`` is None and
    ``fault`` is a word for the shop's own log, which no caller is shown.
    """

    status: int | None
    retry_after: str | None = None
    fault: str = ""


async def post(
    transport: httpx.AsyncBaseTransport,
    url: str,
    body: bytes,
    headers: Mapping[str, str],
    deadline_s: float,
) -> Reply:
    """POST ``body`` as it is to ``url`` and give the answer within ``deadline_s`` seconds in all.

    The receiver's status line decides: what its body does after that, up to 16 KiB of which are
    read and dropped, changes nothing. Never raises for what a receiver or the network does.
    """
    answer = Reply(None, fault="deadline")
    try:
        with anyio.fail_after(deadline_s):
            request = _request(url, body, headers, deadline_s)
            response = await transport.handle_async_request(request)
            answer = Reply(response.status_code, response.headers.get("retry-after"))
            await _drop_body(response)
    except TimeoutError:
        return answer
    except (httpx.TransportError, httpx.InvalidURL, UnicodeError) as error:
        return answer if answer.status else Reply(None, fault=type(error).__name__)
    return answer


def _request(url: str, body: bytes, headers: Mapping[str, str], deadline_s: float) -> httpx.Request:
    waits = {
        "connect": min(CONNECT_TIMEOUT_S, deadline_s),
        "read": deadline_s,
        "write": deadline_s,
        "pool": deadline_s,
    }
    sent = {"user-agent": USER_AGENT, "accept": "*/*", **headers}
    return httpx.Request("POST", url, headers=sent, content=body, extensions={"timeout": waits})


async def _drop_body(response: httpx.Response) -> None:
    """Read a little, so that a well-behaved receiver's connection can be used again; then close."""
    read = 0
    try:
        if isinstance(response.stream, httpx.AsyncByteStream):
            async for part in response.stream:
                read += len(part)
                if read >= BODY_READ_MAX_BYTES:
                    break
    finally:
        await response.aclose()
