"""Streams of newline-delimited JSON, and how their end is told from a cut."""

from __future__ import annotations

import json
from typing import Any, BinaryIO, Callable, Dict, Iterator, Optional

from .errors import Refusal, StreamCut

Row = Dict[str, Any]


class Stream(Iterator[Row]):
    """The items of a stream, as they come.

    Iterate over it for the items. It ends quietly only after the service's own
    closing line; anything else raises :class:`StreamCut`, or :class:`Refusal`
    where the service says why. ``summary`` is then the closing line.

    A stream is also a context manager: leaving it early closes the connection,
    which stops the work.
    """

    def __init__(
        self,
        source: BinaryIO,
        close: Callable[[], None],
        progress: Optional[Callable[[Row], None]] = None,
    ) -> None:
        self.summary: Optional[Row] = None
        self._source = source
        self._close = close
        self._progress = progress
        self._count = 0

    def __next__(self) -> Row:
        if self.summary is not None:
            raise StopIteration
        while True:
            line = self._line()
            kind = line.pop("type", None)
            if kind == "item":
                self._count += 1
                return line
            if kind == "progress":
                if self._progress is not None:
                    self._progress(line)
            elif kind == "error":
                self.close()
                raise Refusal.read(line)
            elif kind == "summary" and line.pop("complete", False) is True:
                self.summary = line
                self.close()
                raise StopIteration

    def _line(self) -> Row:
        reason = "the connection ended before the summary"
        try:
            text = self._source.readline()
            # A line without its end is the first half of one.
            if text.endswith(b"\n"):
                line = json.loads(text)
                if isinstance(line, dict):
                    return line
                reason = "a line is no object"
            elif text:
                reason = "the last line is not whole"
        except (OSError, ValueError) as err:
            reason = str(err) or type(err).__name__
        except Exception as err:  # http.client has faults of its own for bodies cut short
            reason = type(err).__name__
        self.close()
        raise StreamCut(self._count, reason)

    def close(self) -> None:
        """Ends the stream; what was not read yet is not computed."""
        self._close()

    def __enter__(self) -> "Stream":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
