"""Calls against a server of this test's own, which fails as it is told."""

import http.server
import json
import threading
import unittest

from bowroll import Client, Refusal, StreamCut, Unreachable


class Failing(http.server.BaseHTTPRequestHandler):
    """Answers with the next of the server's answers: status, headers, body."""

    protocol_version = "HTTP/1.1"

    def handle_any(self):
        length = int(self.headers.get("Content-Length") or 0)
        self.server.asked.append((self.command, self.path, dict(self.headers), self.rfile.read(length)))
        status, headers, body = self.server.answers.pop(0)
        if status is None:
            self.close_connection = True
            return
        self.send_response(status)
        for name, value in headers.items():
            self.send_header(name, value)
        if "Content-Length" not in headers:
            self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)
        self.close_connection = True

    do_GET = do_POST = do_PUT = handle_any

    def log_message(self, *_):
        pass


def no(code, **more):
    return json.dumps({"code": code, "message": "no", "violations": [], **more}).encode()


class Calls(unittest.TestCase):
    def setUp(self):
        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Failing)
        self.server.asked, self.server.answers = [], []
        thread = threading.Thread(target=self.server.serve_forever, args=(0.01,), daemon=True)
        thread.start()
        self.addCleanup(thread.join)
        self.addCleanup(self.server.server_close)
        self.addCleanup(self.server.shutdown)
        self.client = Client(f"http://127.0.0.1:{self.server.server_port}", token=lambda: "a-token")
        self.slept = []
        self.client.transport.sleep = self.slept.append
        self.client.transport.chance = lambda: 0.5

    def answers(self, *list_of):
        self.server.answers.extend(list_of)

    def test_what_is_sent(self):
        self.answers((200, {}, b'{"run_m": 1.5}'))
        self.assertEqual(self.client.compute({"gross_mass_kg": 6000})["run_m"], 1.5)
        verb, path, headers, body = self.server.asked[0]
        self.assertEqual((verb, path), ("POST", "/v1/takeoffs:compute"))
        self.assertEqual(headers["Authorization"], "Bearer a-token")
        self.assertEqual(headers["Content-Type"], "application/json")
        self.assertRegex(headers["Grpc-Timeout"], r"^\d{1,8}m$")
        self.assertEqual(json.loads(body), {"case": {"gross_mass_kg": 6000}, "sections": []})

    def test_nan_never_leaves(self):
        with self.assertRaises(ValueError):
            self.client.compute({"gross_mass_kg": float("nan")})
        self.assertEqual(self.server.asked, [])

    def test_every_violation_is_named(self):
        fault = {"field": "case.gross_mass_kg", "value": "7", "rule": "range", "allowed": "50 to 600 000", "hint": "kg"}
        self.answers((400, {"X-Request-Id": "r-1"}, no("INVALID_ARGUMENT", violations=[fault, {**fault, "field": "case.flap"}])))
        with self.assertRaises(Refusal) as refused:
            self.client.compute({})
        self.assertEqual([v.field for v in refused.exception.violations], ["case.gross_mass_kg", "case.flap"])
        self.assertEqual(refused.exception.request_id, "r-1")
        self.assertIn("50 to 600 000", str(refused.exception))
        self.assertEqual(len(self.server.asked), 1)

    def test_what_passes_is_asked_again(self):
        self.answers(
            (503, {}, no("UNAVAILABLE")),
            (429, {"Retry-After": "2"}, no("RESOURCE_EXHAUSTED")),
            (None, {}, b""),
            (200, {}, b'{"model_version": "1.0.0"}'),
        )
        self.assertEqual(self.client.model()["model_version"], "1.0.0")
        self.assertEqual([round(s, 3) for s in self.slept], [0.1, 2.2, 0.4])

    def test_it_gives_up(self):
        self.answers(*[(503, {}, b"a proxy speaks")] * 4)
        with self.assertRaises(Refusal) as refused:
            self.client.model()
        self.assertEqual(refused.exception.code, "UNAVAILABLE")
        self.assertEqual(len(self.server.asked), 4)

    def test_it_does_not_wait_beyond_the_deadline(self):
        self.client.transport.timeout_s = 1.0
        self.answers((429, {"Retry-After": "60"}, no("RESOURCE_EXHAUSTED")))
        with self.assertRaises(Refusal):
            self.client.model()
        self.assertEqual(self.slept, [])

    def test_a_change_is_repeated_under_its_request_id_only(self):
        path = "sites/varrow/plans"
        self.answers((503, {}, no("UNAVAILABLE")))
        with self.assertRaises(Refusal):
            self.client.ask(path, {"plan_id": "dawn"})
        self.answers((503, {}, no("UNAVAILABLE")), (200, {}, b"{}"))
        self.client.ask(path, {"plan_id": "dawn", "request_id": "4b1d"})
        bodies = [body for _, _, _, body in self.server.asked[1:]]
        self.assertEqual(bodies[0], bodies[1])

    def test_pages(self):
        self.answers(
            (200, {}, b'{"decks": [{"name": "a"}], "next_page_token": "t/1"}'),
            (200, {}, b'{"decks": [{"name": "b"}], "next_page_token": ""}'),
        )
        self.assertEqual([d["name"] for d in self.client.decks("sites/varrow")], ["a", "b"])
        self.assertEqual(self.server.asked[1][1], "/v1/sites/varrow/decks?page_token=t%2F1")

    def test_batches_are_cut_and_numbered_through(self):
        self.answers(
            (200, {}, json.dumps({"rows": [{"index": i} for i in range(10_000)]}).encode()),
            (200, {}, b'{"rows": [{"index": 0}]}'),
        )
        rows = self.client.table({"id": f"case-{i}"} for i in range(10_001))
        self.assertEqual([row["index"] for row in rows], list(range(10_001)))

    def test_a_stream_cut_by_the_network(self):
        self.answers((200, {"Content-Length": "500"}, b'{"type":"item","index":0}\n'))
        rows = self.client.wind_table({})
        self.assertEqual(next(rows), {"index": 0})
        with self.assertRaises(StreamCut):
            next(rows)

    def test_nobody_there(self):
        self.server.shutdown()
        self.server.server_close()
        with self.assertRaises(Unreachable):
            self.client.ask("sites/varrow/plans", {"plan_id": "dawn"})

    def test_addresses(self):
        for address in ("127.0.0.1:8472", "ftp://host", "http://host/v1"):
            with self.subTest(address=address), self.assertRaises(ValueError):
                Client(address)

    def test_a_token_never_goes_over_a_network_in_the_clear(self):
        for address in ("http://10.0.0.1:8472", "http://varrow.example", "http://localhost.example:8472", "http://[2001:db8::1]:8472"):
            with self.subTest(address=address), self.assertRaisesRegex(ValueError, "in the clear.*https://"):
                Client(address, token="secret")
            Client(address)
        for address in ("https://varrow.example", "http://localhost:8472", "http://[::1]:8472", "http://127.8.8.8:1"):
            Client(address, token="secret")

    def test_a_token_is_asked_for_each_time_and_not_shown(self):
        tokens = iter(["first", "second"])
        client = Client(f"http://127.0.0.1:{self.server.server_port}", token=lambda: next(tokens))
        self.answers((200, {}, b"{}"), (200, {}, b"{}"))
        client.model()
        client.model()
        self.assertEqual([headers["Authorization"] for _, _, headers, _ in self.server.asked], ["Bearer first", "Bearer second"])
        self.assertNotIn("secret", repr(Client("http://localhost:8472", token="secret").transport))

    def test_what_is_no_token_is_refused_unseen(self):
        for token in ("", "Bearer secret", "secret\n", "secret\r\nX-Other: 1", "="):
            client = Client(f"http://127.0.0.1:{self.server.server_port}", token=token)
            with self.subTest(token=token), self.assertRaises(ValueError) as refused:
                client.model()
            self.assertNotIn("secret", str(refused.exception))
        self.assertEqual(self.server.asked, [])
