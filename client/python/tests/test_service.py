"""Calls against a bowrolld of the tree that this file is in."""

import os
import pathlib
import re
import shutil
import subprocess
import tempfile
import unittest

from bowroll import Client, Refusal

ROOT = pathlib.Path(__file__).resolve().parents[3]

CASE = {
    "id": "amber-1",
    "aircraft_type": "aircraftTypes/corvane",
    "flap": "takeoff",
    "gross_mass_kg": 6000,
    "air": {"pressure_altitude_m": 0, "temperature_c": 15},
    "headwind_mps": 12,
    "deck": "sites/varrow/decks/main",
    "spot": "s6",
}


class Service(unittest.TestCase):
    """BOWROLL_HTTP names a service that runs; otherwise one is built and started."""

    @classmethod
    def setUpClass(cls):
        address = os.environ.get("BOWROLL_HTTP")
        if not address:
            if shutil.which("go") is None:
                raise unittest.SkipTest("no BOWROLL_HTTP and no go to build bowrolld with")
            folder = tempfile.TemporaryDirectory()
            cls.addClassCleanup(folder.cleanup)
            program = os.path.join(folder.name, "bowrolld")
            subprocess.run(["go", "build", "-o", program, "./server/cmd/bowrolld"], cwd=ROOT, check=True)
            process = subprocess.Popen(
                [program, "--grpc", "127.0.0.1:0", "--http", "127.0.0.1:0"], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
            )
            cls.addClassCleanup(process.stderr.close)
            cls.addClassCleanup(process.wait)
            cls.addClassCleanup(process.terminate)
            for line in process.stderr:
                ready = re.search(r'"msg":"ready".*"http":"([^"]+)"', line)
                if ready:
                    address = "http://" + ready.group(1)
                    break
            else:
                raise RuntimeError("bowrolld ended before it was ready")
        cls.client = Client(address)

    def test_numbers_of_a_data_frame(self):
        class Held:  # as numpy.int64 and numpy.float32 are: no numbers of Python's own
            def __init__(self, value):
                self.value = value

            def item(self):
                return self.value

        self.assertEqual(self.client.compute({**CASE, "gross_mass_kg": Held(6000)}), self.client.compute(CASE))
        with self.assertRaisesRegex(ValueError, r"^cases\[1\]\.air\.temperature_c is no finite number"):
            self.client.table([CASE, {**CASE, "air": {"pressure_altitude_m": 0, "temperature_c": float("nan")}}])
        with self.assertRaisesRegex(TypeError, "a set cannot be sent"):
            self.client.compute({**CASE, "gross_mass_kg": {6000}})

    def test_the_catalog_as_it_was(self):
        revision = self.client.model()["provenance"]["catalog_revision"]
        first, again = self.client.batch([CASE]), self.client.batch([CASE], catalog_revision=revision)
        self.assertEqual(list(first), list(again))
        with self.assertRaisesRegex(Refusal, revision):
            list(self.client.batch([CASE], catalog_revision="sha256:" + 16 * "0"))

    def test_one_take_off(self):
        answer = self.client.compute(CASE, sections=["SECTION_LIMITS"])
        self.assertEqual(answer["id"], "amber-1")
        self.assertGreater(answer["required_run_m"], answer["run_m"])
        self.assertIsNone(answer["firing"])
        self.assertTrue(answer["provenance"]["request_digest"].startswith("sha256:"))

    def test_a_misspelt_key_is_named(self):
        with self.assertRaises(Refusal) as refused:
            self.client.compute({**CASE, "headwnd_mps": 3})
        self.assertIn("headwind_mps", str(refused.exception))

    def test_batch_and_table_agree(self):
        cases = [{**CASE, "id": f"case-{h}", "headwind_mps": h} for h in range(0, 20, 4)]
        cases.append({**CASE, "id": "heavy", "gross_mass_kg": -1})
        rows = self.client.table(cases)
        items = list(self.client.batch(cases))
        self.assertEqual([r["id"] for r in rows], [c["id"] for c in cases])
        self.assertEqual([r["run_m"] for r in rows[:-1]], [i["takeoff"]["run_m"] for i in items[:-1]])
        self.assertEqual(rows[-1]["status"], "INVALID_ARGUMENT")
        self.assertEqual(len({tuple(r) for r in rows}), 1, "every row has every column")

    def test_a_wind_table_comes_whole(self):
        seen = []
        table = self.client.wind_table(WIND_TABLE, progress=seen.append)
        rows = list(table)
        self.assertEqual(len(rows), 4)
        self.assertEqual(len({tuple(r) for r in rows}), 1)
        self.assertIsNotNone(table.summary)

    def test_a_plan_watched_is_the_plan(self):
        seen = []
        watched = self.client.plan_watched(CYCLE, seen.append)
        plan = self.client.plan(CYCLE)
        self.assertEqual(watched, plan)
        self.assertTrue(seen)
        rows = self.client.plan_table(CYCLE)
        self.assertEqual(sum(r["launches"] for r in rows), len(plan["launches"]))

    def test_lists(self):
        self.assertIn("aircraftTypes/corvane", [t["name"] for t in self.client.aircraft_types()])
        self.assertTrue(list(self.client.booster_types()))
        self.assertTrue(list(self.client.decks("sites/varrow")))

    def test_the_model_is_checked(self):
        checks = self.client.check_model()["checks"]
        self.assertFalse([c["id"] for c in checks if c["verdict"] == "VERDICT_FAILS"])


WIND_TABLE = {
    "deck": "sites/varrow/decks/main",
    "spots": ["s6"],
    "air": {"pressure_pa": 101325, "temperature_c": 15},
    "firing_plan": "FIRING_PLAN_REPLANNED",
    "temperatures_c": [15, 30],
    "loads": [{"aircraft_type": "aircraftTypes/corvane", "flaps": ["takeoff"], "gross_masses_kg": [5500, 6000], "unit_counts": [0]}],
}

CYCLE = {
    "id": "noon",
    "deck": "sites/varrow/decks/main",
    "start_time": "2041-03-07T12:00:00Z",
    "air": {"pressure_pa": 101000, "temperature_c": 25},
    "natural_wind": {"from_deg": 292, "speed_mps": 5},
    "sorties": [
        {"id": f"amber-{i}", "aircraft_type": "aircraftTypes/corvane", "flap": "takeoff", "gross_mass_kg": 5400 + 300 * i, "spot": "s6", "priority": 10 * i, "launch_s": 600 * i}
        for i in range(1, 4)
    ],
    "lots": [{"id": "lot-07", "booster_type": "boosterTypes/emberlin-6", "usable_count": 2, "grain_temperature_c": 20, "expire_time": "2042-01-01T00:00:00Z"}],
}
