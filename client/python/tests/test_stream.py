"""A stream that is whole, and every way of being cut."""

import io
import unittest

from bowroll import Refusal, Stream, StreamCut

WHOLE = (
    b'{"type":"progress","done_count":1,"total_count":2}\n'
    b'{"type":"item","index":0,"run_m":121.5}\n'
    b'{"type":"item","index":1,"run_m":null}\n'
    b'{"type":"summary","complete":true,"item_count":2}\n'
)


def stream(text, progress=None):
    closed = []
    return Stream(io.BytesIO(text), lambda: closed.append(True), progress), closed


class WholeStream(unittest.TestCase):
    def test_items_progress_and_summary(self):
        seen = []
        s, closed = stream(WHOLE, seen.append)
        self.assertEqual([row["run_m"] for row in s], [121.5, None])
        self.assertEqual(seen, [{"done_count": 1, "total_count": 2}])
        self.assertEqual(s.summary, {"item_count": 2})
        self.assertTrue(closed)
        self.assertEqual(list(s), [])

    def test_leaving_early_closes(self):
        s, closed = stream(WHOLE)
        with s:
            next(s)
        self.assertTrue(closed)


class CutStream(unittest.TestCase):
    def test_every_cut_is_noticed(self):
        for length in range(len(WHOLE)):
            with self.subTest(length=length):
                s, closed = stream(WHOLE[:length])
                with self.assertRaises(StreamCut) as cut:
                    list(s)
                whole = WHOLE[:length].split(b"\n")[:-1]
                self.assertEqual(cut.exception.item_count, sum(b'"item"' in line for line in whole))
                self.assertTrue(closed)

    def test_a_summary_that_is_not_complete(self):
        s, _ = stream(b'{"type":"summary","complete":false}\n')
        with self.assertRaises(StreamCut):
            list(s)

    def test_what_is_no_json(self):
        for line in (b"half a li\n", b"[1]\n", b"\xff\n"):
            with self.subTest(line=line), self.assertRaises(StreamCut):
                list(stream(line)[0])

    def test_the_service_says_why(self):
        s, closed = stream(
            b'{"type":"item","index":0}\n'
            b'{"type":"error","code":"DEADLINE_EXCEEDED","message":"out of time","violations":[]}\n'
        )
        next(s)
        with self.assertRaises(Refusal) as no:
            next(s)
        self.assertEqual(no.exception.code, "DEADLINE_EXCEEDED")
        self.assertTrue(closed)
