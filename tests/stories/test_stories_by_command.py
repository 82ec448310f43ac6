"""Three of the stories through the commands, with files of answers: one held, one with rework, one conceded.

The machine, its sampler and the hands at the bench are simulated, as no laptop can be repaired here; the
answers are written to a file as the facts stand. The concession is typed into a real process on a computer
that is not the repaired machine. Everything else is what a shop runs.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest
import yaml

from verify.ask import script
from verify.ask.drawn import drawing
from verify.ask.simulated import SimulatedBench
from verify.checklist import Check
from verify.checklist.compose import compose
from verify.checklist.shipped import shipped_checklists
from verify.checklist.specimens import answer_for
from verify.cli import main, session
from verify.machine.simulated import LARKSPUR_13, LARKSPUR_15, SimulatedDesign
from verify.record.key_store import KeyStore
from verify.record.model import Record
from verify.run import load_record
from verify.testing.story import caught, shipped_trade, written
from verify.values import Outcome, Verdict

TICKET = "TW-2002"


class Shop:
    """A reports folder, a simulated machine on the bench, and the commands."""

    def __init__(
        self,
        folder: Path,
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
        *,
        works: tuple[str, ...],
        design: SimulatedDesign = LARKSPUR_15,
        level: float = 0.35,
    ) -> None:
        self.folder = folder
        self._capsys = capsys
        self.bench = bench = SimulatedBench(faults={}, design=design, level=level)
        self.facts = dict(shipped_trade().facts)
        checklists = sorted(shipped_checklists(), key=lambda each: bool(each.for_work))
        self._checks = compose(checklists, works).checks
        monkeypatch.setenv("HANDBACK_HOME", str(folder / "home"))
        monkeypatch.delenv("HANDBACK_PASSPHRASE", raising=False)
        KeyStore(folder / "home").new("Demo Technician", "technician", None, at=bench.clock.now().wall)
        monkeypatch.chdir(folder)
        monkeypatch.setattr("verify.machine.open_machine", lambda **_: bench.machine)
        monkeypatch.setattr(session, "ThreadSampler", lambda *_, **__: bench.sampler)
        monkeypatch.setattr(script, "NoHands", lambda: bench)

    def command(self, *words: str, code: int) -> str:
        """Run a command in this process; return what it said."""
        with pytest.raises(SystemExit) as left:
            main(words)
        told = self._capsys.readouterr()
        assert left.value.code == code, told.err + told.out
        return told.out + told.err

    def elsewhere(self, *words: str, stdin: str = "", code: int) -> str:
        """Run a command in a process of its own, on this computer as it is."""
        said = subprocess.run(
            [sys.executable, "-c", "from verify.cli import main; main()", *words],
            capture_output=True,
            text=True,
            check=False,
            cwd=self.folder,
            input=stdin,
            timeout=120,
        )
        assert "Traceback" not in said.stderr
        assert said.returncode == code, said.stderr + said.stdout
        return said.stdout + said.stderr

    def answers(self, name: str, checks: Iterable[Check] | None = None, **facts: str) -> str:
        """Write what is so into a file of answers; return its name."""
        trade = shipped_trade()
        so = {**self.facts, **{fact.replace("_", " "): value for fact, value in facts.items()}}
        given = {
            check.id: written(answer_for(check, so, trade.sees))
            for check in checks or self._checks
            if check.id in trade.sees
        }
        arrival = {
            "found_as": "runs",
            "accessories": ["charger"],
            "pictures": [],
            "tried": dict.fromkeys(("picture and lid", "keys and touchpad", "sound and camera"), "works")
            | {"wireless network": "works", "battery and charger": "does not work"},
        }
        (self.folder / "open.png").write_bytes(drawing("The open machine"))
        pictures = {"open-picture": [{"file": "open.png", "shows": "The open machine"}]}
        text = yaml.safe_dump(
            {"format": "answers/1", "answers": given, "pictures": pictures, "arrival": arrival}
        )
        (self.folder / name).write_text(text, encoding="utf-8")
        return name

    def arrive(self, complaint: str) -> None:
        """Take the machine in."""
        first = self.answers("arrival.yaml", [each for each in self._checks if each.id == "first-look"])
        words = ("--model", self.bench.machine.identity().model or "", "--complaint", complaint)
        said = self.command("arrive", TICKET, *words, "--answers", first, "--on-machine", code=0)
        assert f"handback start {TICKET}" in said

    def run(self, answers: str, *, code: int) -> str:
        """Go on with the run on the machine."""
        return self.command("run", TICKET, "--answers", answers, "--on-machine", code=code)

    def record(self) -> Record:
        """Return the record as it lies on disk; it is marked, and its page is there."""
        record = load_record(self.folder / "reports", TICKET)
        page = (self.folder / "reports" / TICKET / "report.html").read_text(encoding="utf-8")
        assert record.simulated
        assert "SIMULATED" in page.upper()
        for check in caught(record):
            ask = next(each.ask for each in record.results if each.check == check)
            assert ask in page
        return record

    def sign_and_prove(self) -> None:
        """Sign it as its technician: the report is whole, and a simulation is never released."""
        assert "not an acceptance" in self.elsewhere("sign", TICKET, "--yes", code=0)
        report = str(self.folder / "reports" / TICKET / "report.html")
        assert "simulation" in self.command("prove", report, code=0)
        said = self.command("prove", report, "--require", "released", code=1)
        assert "whole, but not released" in said


def test_a_pack_far_below_its_label_is_held(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = Shop(tmp_path, monkeypatch, capsys, works=("battery",), design=LARKSPUR_13, level=0.11)
    shop.arrive("It runs for half an hour only.")
    shop.bench.machine.befall({"pack-holds": "31 Wh"})
    label = ("--work", "battery=reproduction", "--label", "battery=50.0 Wh")
    assert "of waiting" in shop.command("start", TICKET, *label, code=0)

    said = shop.run(shop.answers("answers.yaml"), code=1)

    assert "not ready" in said
    record = shop.record()
    assert record.outcome is Outcome.HELD
    assert caught(record) == ("claimed-capacity", "measured-capacity", "gauge-told-truth")
    page = (tmp_path / "reports" / TICKET / "report.html").read_text(encoding="utf-8")
    holds = re.search(r"about (\d+) of the 50 watt-hours \(Wh\) printed on it", page)
    assert holds is not None
    assert int(holds[1]) == pytest.approx(31, abs=2)
    status = json.loads(shop.command("status", TICKET, "--json", code=1))
    assert status[0]["outcome"] == "held"
    shop.sign_and_prove()


def test_an_antenna_plug_is_pressed_home_and_only_what_lies_behind_the_base_is_asked_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = Shop(tmp_path, monkeypatch, capsys, works=("battery",))
    shop.arrive("It goes off without the charger.")
    label = ("--work", "battery=original", "--label", "battery=57.0 Wh")
    shop.command("start", TICKET, *label, code=0)
    shop.bench.machine.befall({"antenna-lead-off": "yes"})
    said = shop.run(shop.answers("answers.yaml", antenna_contact="worn"), code=1)
    assert "not ready" in said
    assert caught(shop.record()) == ("radio-as-arrived", "network")

    said = shop.command("rework", TICKET, "--opened", "base", "--why", "The antenna plug is renewed.", code=0)
    assert "again: Look at each antenna" in said
    assert "battery labels" not in said
    assert shop.record().outcome is Outcome.HELD
    shop.bench.machine.mend("antenna-lead-off")
    said = shop.run(shop.answers("again.yaml"), code=0)

    assert "not an acceptance" in said
    record = shop.record()
    assert record.outcome is Outcome.FIT
    attempts = {each.check: each.attempts for each in record.results}
    for check in ("radio-as-arrived", "network"):
        assert [each.verdict for each in attempts[check]] == [Verdict.DOES_NOT_CONFORM, Verdict.CONFORMS]
        assert attempts[check][0].out_of_date
    assert len(attempts["charge-to-full"]) == len(attempts["pack-label"]) == 1
    shop.sign_and_prove()


def test_a_hairline_in_the_paint_is_accepted_by_a_named_person(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shop = Shop(tmp_path, monkeypatch, capsys, works=("hinge",))
    shop.arrive("The left hinge has torn out.")
    shop.command("start", TICKET, "--work", "hinge", code=0)
    shop.run(shop.answers("answers.yaml", outside="a hairline in the paint at the left corner"), code=1)
    assert caught(shop.record()) == ("no-new-mark",)

    typed = "aDemo Reviewer\nPaint only, the post is whole.\nAt the counter, with the picture.\nq"
    said = shop.elsewhere("run", TICKET, "--elsewhere", stdin=typed, code=0)

    assert "known flaw" in said
    record = shop.record()
    assert record.outcome is Outcome.FIT_UNDER_CONCESSION
    accepted = next(each.accepted for each in record.results if each.check == "no-new-mark")
    assert accepted is not None
    assert (accepted.by, accepted.reason) == ("Demo Reviewer", "Paint only, the post is whole.")
    assert "picture" in accepted.owner_agreed
    page = (tmp_path / "reports" / TICKET / "report.html").read_text(encoding="utf-8")
    assert "Paint only, the post is whole." in page
    shop.sign_and_prove()
