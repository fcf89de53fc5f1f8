"""What can go wrong, each kind in a class of its own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Mapping, Sequence


class BowrollError(Exception):
    """Whatever this package raises."""


@dataclass(frozen=True)
class Violation:
    """One fault of a request.

    ``field`` is the path of the key at fault, ``value`` what was given,
    ``rule`` the short name of the rule broken, ``allowed`` what would do and
    ``hint`` what to do about it; what does not apply is empty.
    """

    field: str
    value: str
    rule: str
    allowed: str
    hint: str

    def __str__(self) -> str:
        text = self.field
        if self.value:
            text += f" = {self.value}"
        text += f": {self.allowed or self.rule}"
        if self.hint:
            text += f" ({self.hint})"
        return text


class Refusal(BowrollError):
    """The service said no.

    ``code`` is the name of a gRPC status, such as ``INVALID_ARGUMENT``, and
    ``violations`` lists every fault of the request at once. ``retry_after_s``
    is how long the service asks to be left alone, or ``None``.
    """

    def __init__(
        self,
        code: str,
        message: str,
        violations: Sequence[Violation] = (),
        retry_after_s: float | None = None,
        request_id: str = "",
    ) -> None:
        self.code = code
        self.message = message
        self.violations = tuple(violations)
        self.retry_after_s = retry_after_s
        self.request_id = request_id
        super().__init__("\n  ".join([f"{code}: {message}", *map(str, self.violations)]))

    @classmethod
    def read(cls, body: Mapping[str, Any], retry_after_s: float | None = None, request_id: str = "") -> "Refusal":
        """The refusal that an error body of the service stands for."""
        violations = [
            Violation(*(str(v.get(key) or "") for key in ("field", "value", "rule", "allowed", "hint")))
            for v in body.get("violations") or ()
        ]
        return cls(
            str(body.get("code") or "UNKNOWN"), str(body.get("message") or ""), violations, retry_after_s, request_id
        )

    @classmethod
    def of_answer(cls, status: int, text: bytes, retry_after_s: float | None, request_id: str) -> "Refusal":
        """The refusal of an HTTP answer, also one that something between wrote."""
        try:
            body = json.loads(text)
        except ValueError:
            body = None
        if not isinstance(body, dict) or "code" not in body:
            code = {429: "RESOURCE_EXHAUSTED", 502: "UNAVAILABLE", 503: "UNAVAILABLE", 504: "UNAVAILABLE"}
            body = {"code": code.get(status, "UNKNOWN"), "message": f"HTTP {status}: {text[:200].decode(errors='replace')}"}
        return cls.read(body, retry_after_s, request_id)


class Unreachable(BowrollError):
    """No answer came: there is no such service, or the way to it is broken.

    What changes something may or may not have been done. Send it again under
    the same ``request_id``: the first answer comes back if it was.
    """


class StreamCut(BowrollError):
    """A stream ended without the line that says it is complete.

    ``item_count`` is how many items had come by then.
    """

    def __init__(self, item_count: int, reason: str) -> None:
        self.item_count = item_count
        super().__init__(f"the stream broke off after {item_count} items: {reason}")
