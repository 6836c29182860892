"""What `fivebar run --metrics` answers, read by a parser of OpenMetrics that is not ours."""

import pathlib
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import unittest
import urllib.error
import urllib.request

from prometheus_client.openmetrics.parser import text_string_to_metric_families

ROOT = pathlib.Path(__file__).parents[2]
FIVEBAR = ROOT / "target" / "debug" / "fivebar"


def free_port():
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return taken.getsockname()[1]


class Metrics(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory()
        self.addCleanup(self.folder.cleanup)
        self.fivebar = [FIVEBAR, "--data", self.folder.name + "/data"]
        self.do("found", "--crew", "Oake Rooms", "--person", "Maren Oake", "--device", "maren-laptop")
        self.do("import", ROOT / "tests" / "scenario")

    def do(self, *words):
        done = subprocess.run([*self.fivebar, *words], capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        return done.stdout

    def write_checkpoint(self):
        """A move writes one, for which a ledger as small as this is else not worth it."""
        moved = self.folder.name + "/moved"
        self.do("move", moved)
        self.fivebar = [FIVEBAR, "--data", moved]

    def run_node(self):
        at = f"127.0.0.1:{free_port()}"
        words = ["run", "--listen", "127.0.0.1:0", "--no-page", "--metrics", at]
        node = subprocess.Popen([*self.fivebar, *words], stdout=subprocess.DEVNULL)
        self.addCleanup(node.wait)
        self.addCleanup(node.send_signal, signal.SIGINT)
        for _ in range(200):
            try:
                with urllib.request.urlopen(f"http://{at}/health") as answer:
                    self.assertEqual((answer.status, answer.read()), (200, b"well\n"))
                    return at
            except urllib.error.URLError:
                time.sleep(0.1)
        self.fail("the node did not answer")

    def told(self):
        """What a node that runs tells: the text, and what a parser makes of it."""
        with urllib.request.urlopen(f"http://{self.run_node()}/metrics") as answer:
            kind, text = answer.headers["Content-Type"], answer.read().decode()
        self.assertEqual(kind, "application/openmetrics-text; version=1.0.0; charset=utf-8")
        return text, {family.name: family for family in text_string_to_metric_families(text)}

    def test_figures_are_read_and_name_nobody(self):
        begun = time.time()
        self.write_checkpoint()
        text, families = self.told()
        figures = {name: family.samples[0].value for name, family in families.items()}
        self.assertGreater(figures["fivebar_events"], 100)
        self.assertEqual(figures["fivebar_devices"], 1)
        self.assertEqual(figures["fivebar_devices_connected"], 0)
        self.assertEqual(figures["fivebar_writer_stopped"], 0)
        self.assertEqual(families["fivebar_journal_bytes"].unit, "bytes")
        self.assertGreater(figures["fivebar_journal_bytes"], 10_000)
        self.assertEqual(families["fivebar_disk_free_bytes"].unit, "bytes")
        self.assertGreater(figures["fivebar_disk_free_bytes"], 0)
        self.assertLessEqual(figures["fivebar_disk_free_bytes"], shutil.disk_usage(self.folder.name).total)
        self.assertEqual(families["fivebar_checkpoint_timestamp_seconds"].unit, "seconds")
        written = figures["fivebar_checkpoint_timestamp_seconds"]
        # A file system may round the time at which a file was written down.
        self.assertTrue(begun - 2 <= written <= time.time() + 2, written)
        self.assertEqual(figures["fivebar_photos_to_come"], 0)
        self.assertNotIn("fivebar_last_met_timestamp_seconds", figures)
        for name in ["Maren", "Oake", "GARAGE", "MILL", "maren-laptop"]:
            self.assertNotIn(name.lower(), text.lower())

    def test_a_photo_that_is_not_here_is_still_to_come(self):
        photo = pathlib.Path(self.folder.name) / "wall.jpg"
        photo.write_bytes(b"\xff\xd8\xff\xe0 wall")
        self.do("log", "photo", "--job", "GARAGE", "--photo", photo)
        [kept] = (pathlib.Path(self.folder.name) / "data" / "photos").iterdir()
        kept.unlink()
        _, families = self.told()
        self.assertEqual(families["fivebar_photos_to_come"].samples[0].value, 1)

    def test_what_is_told_is_what_is_described(self):
        described = set(re.findall(r"^\| `(fivebar_[^|]*)` \|", (ROOT / "deploy" / "README.md").read_text(), re.M))
        described = {name for row in described for name in row.replace("`", "").split(", ")}
        self.write_checkpoint()
        _, families = self.told()
        self.assertEqual({*families, "fivebar_last_met_timestamp_seconds"}, described)

    def test_it_is_of_this_machine_alone(self):
        words = ["run", "--listen", "127.0.0.1:0", "--no-page", "--metrics", "0.0.0.0:0"]
        told = subprocess.run([*self.fivebar, *words], capture_output=True, text=True)
        self.assertEqual(told.returncode, 1)
        self.assertIn("could be read from elsewhere", told.stderr)


if __name__ == "__main__":
    unittest.main()
