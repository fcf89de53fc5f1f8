"""Calls over HTTP: deadlines, tokens, retries."""

from __future__ import annotations

import http.client
import ipaddress
import json
import math
import random
import re
import socket
import ssl
import time
import urllib.parse
from dataclasses import dataclass, field
from typing import Any, Callable, Dict, Mapping, Optional, Union

from .errors import Refusal, Unreachable
from .stream import Stream

# Codes after which nothing was done, so that asking again is safe.
_AGAIN = {"UNAVAILABLE", "RESOURCE_EXHAUSTED"}

# What a bearer token may be: RFC 6750, section 2.1.
_TOKEN = re.compile(r"[A-Za-z0-9._~+/-]+=*")


@dataclass
class Transport:
    """Where the service is, and how it is asked.

    ``timeout_s`` bounds a call with all its retries, and travels with it so
    that the service stops then as well. ``clock``, ``sleep`` and ``chance`` are
    there for tests.
    """

    address: str
    token: Union[str, Callable[[], str], None] = field(default=None, repr=False)
    timeout_s: float = 60.0
    attempts: int = 4
    tls: Optional[ssl.SSLContext] = None
    clock: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
    chance: Callable[[], float] = random.random
    _host: str = field(init=False, repr=False)

    def __post_init__(self) -> None:
        parts = urllib.parse.urlsplit(self.address)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError(f"address = {self.address!r}: give http://HOST:PORT or https://HOST:PORT")
        if parts.path not in ("", "/") or parts.query:
            raise ValueError(f"address = {self.address!r}: leave out what follows the port")
        self._host = parts.netloc
        self._secure = parts.scheme == "https"
        if self.token is not None and not self._secure and not _loopback(parts.hostname):
            raise ValueError(
                f"address = {self.address!r}: the token would go there in the clear, where others can read it:"
                " give https://HOST:PORT, or a loopback address"
            )

    def ask(self, verb: str, path: str, body: Optional[Mapping[str, Any]], again: bool) -> Dict[str, Any]:
        """Sends one request and returns its answer.

        Where ``again`` is true, the request is sent again after a fault that
        passes, for as long as the deadline lets it.
        """
        deadline = self.clock() + self.timeout_s
        sent = None if body is None else encode(body)
        attempt = 0
        while True:
            attempt += 1
            try:
                return self._once(verb, path, sent, deadline)
            except (Refusal, Unreachable) as fault:
                passes = isinstance(fault, Unreachable) or fault.code in _AGAIN
                wait = self._wait(attempt, fault)
                if not (again and passes) or attempt >= self.attempts or self.clock() + wait >= deadline:
                    raise
                self.sleep(wait)

    def _wait(self, attempt: int, fault: Exception) -> float:
        # Full jitter: callers that failed together do not come back together.
        wait = 0.1 * float(2**attempt) * self.chance()
        asked = fault.retry_after_s if isinstance(fault, Refusal) else None
        return wait if asked is None else asked + wait

    def _once(self, verb: str, path: str, body: Optional[bytes], deadline: float) -> Dict[str, Any]:
        connection, answer = self._send(verb, path, body, deadline - self.clock(), "application/json")
        try:
            text = answer.read()
        except (OSError, http.client.HTTPException) as err:
            raise Unreachable(f"{self.address}{path}: the answer broke off: {err}") from err
        finally:
            connection.close()
        if answer.status != 200:
            raise _refusal(answer, text)
        return _object(text, self.address + path)

    def stream(
        self,
        verb: str,
        path: str,
        body: Optional[Mapping[str, Any]],
        timeout_s: float,
        progress: Optional[Callable[[Dict[str, Any]], None]] = None,
    ) -> Stream:
        """Sends one request whose answer is a stream. It is not sent again."""
        sent = None if body is None else encode(body)
        connection, answer = self._send(verb, path, sent, timeout_s, "application/x-ndjson")
        if answer.status != 200:
            try:
                text = answer.read()
            finally:
                connection.close()
            raise _refusal(answer, text)
        return Stream(answer, connection.close, progress)

    def _send(
        self, verb: str, path: str, body: Optional[bytes], timeout_s: float, accept: str
    ) -> "tuple[http.client.HTTPConnection, http.client.HTTPResponse]":
        timeout_s = max(timeout_s, 0.001)
        connection: http.client.HTTPConnection
        if self._secure:
            connection = http.client.HTTPSConnection(self._host, timeout=timeout_s, context=self.tls)
        else:
            connection = http.client.HTTPConnection(self._host, timeout=timeout_s)
        headers = {"Accept": accept, "Grpc-Timeout": f"{min(int(timeout_s * 1000) + 1, 99_999_999)}m"}
        if body is not None:
            headers["Content-Type"] = "application/json"
        if self.token is not None:
            headers["Authorization"] = _bearer(self.token() if callable(self.token) else self.token)
        try:
            connection.request(verb, path, body, headers)
            return connection, connection.getresponse()
        except (OSError, http.client.HTTPException) as err:
            connection.close()
            reason = "no answer in time" if isinstance(err, socket.timeout) else str(err) or type(err).__name__
            raise Unreachable(f"{self.address}{path}: {reason}") from err


def encode(body: Mapping[str, Any]) -> bytes:
    """JSON of a request. NaN and infinity are refused: they are no measurement.

    Numbers of an array or a data frame, which are no numbers of Python's own, go
    as what they hold.
    """
    try:
        return json.dumps(body, allow_nan=False, separators=(",", ":"), ensure_ascii=False, default=_held).encode()
    except ValueError as err:
        field = _not_finite(body)
        if field is None:
            raise
        raise ValueError(f"{field} is no finite number: leave out what is not known, or drop the row") from err


def _held(value: Any) -> Any:
    """What a number of an array or a data frame holds."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"a {type(value).__name__} cannot be sent: give numbers, texts, lists and dictionaries")


def _not_finite(value: Any, path: str = "") -> Optional[str]:
    """The path of the first number that is not finite."""
    if isinstance(value, Mapping):
        inner = ((f"{path}.{key}" if path else str(key), one) for key, one in value.items())
    elif isinstance(value, (list, tuple)):
        inner = ((f"{path}[{i}]", one) for i, one in enumerate(value))
    else:
        return path if isinstance(value, float) and not math.isfinite(value) else None
    return next((found for at, one in inner if (found := _not_finite(one, at)) is not None), None)


def _bearer(token: str) -> str:
    """The header of a token. The error does not show it, as that of a bad header would."""
    if not _TOKEN.fullmatch(token):
        raise ValueError(
            "token: is none: letters, digits and -._~+/ with = at the end are allowed;"
            ' give it alone, without "Bearer", white space or line ends'
        )
    return "Bearer " + token


def _loopback(host: str) -> bool:
    """Whether a host can only be this machine."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _object(text: bytes, where: str) -> Dict[str, Any]:
    try:
        answer = json.loads(text)
    except ValueError as err:
        raise Unreachable(f"{where}: the answer is no JSON: {err}") from err
    if not isinstance(answer, dict):
        raise Unreachable(f"{where}: the answer is no object")
    return answer


def _refusal(answer: http.client.HTTPResponse, text: bytes) -> Refusal:
    asked = answer.getheader("Retry-After")
    return Refusal.of_answer(
        answer.status,
        text,
        float(asked) if asked and asked.isdecimal() else None,
        answer.getheader("X-Request-Id") or "",
    )
