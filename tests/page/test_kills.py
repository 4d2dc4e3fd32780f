"""A server that is killed at any moment: nothing acknowledged is lost, no file is ever half written."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from coldside.page.drafts import Drafts
from coldside.page.project import Project
from coldside.page.store import Store
from words.files import BUILD

WORKER = Path(__file__).with_name("killed.py")
# long enough that writing it takes a while: a kill is likely to fall into it
LONG = BUILD + "\n".join(f"# note {n}: " + "x" * 90 for n in range(3000)) + "\n# the end\n"


def start(folder: Path, who: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, str(WORKER), str(folder), who], stderr=subprocess.PIPE)


def journal(folder: Path, who: str) -> list[str]:
    """What a worker has acknowledged; a last line without an end was not written to its end."""
    file = folder / f"{who}.journal"
    return file.read_text().splitlines() if file.exists() else []


def acknowledged(folder: Path, who: str, saved: bool = False) -> int:
    """The highest number that came back, or that was saved."""
    lines = journal(folder, who)
    found = [line.removeprefix("saved ") for line in lines if line.startswith("saved ") is saved]
    return int(found[-1]) if found else 0


def check(folder: Path, workers: tuple[str, ...]) -> None:
    """The file is whole, the store opens, and both hold at least what was acknowledged."""
    on_disk = (folder / "car.toml").read_text()
    assert on_disk.endswith("# the end\n")
    store = Store(folder / "coldside.db")
    assert store.notes == []
    draft = Drafts(Project(folder), store).open("car.toml")
    store.close()
    for who in workers:
        key = f"note_{who}"
        assert tomllib.loads(draft.text)["parts"]["tank"].get(key, 0) >= acknowledged(folder, who)
        assert tomllib.loads(on_disk)["parts"]["tank"].get(key, 0) >= acknowledged(folder, who, saved=True)
    backup = folder / "car.toml.bak"
    assert not backup.exists() or backup.read_text().endswith("# the end\n")


def run(folder: Path, workers: tuple[str, ...], kills: int) -> None:
    (folder / "car.toml").write_text(LONG)
    dice = random.Random(7)
    for _ in range(kills):
        before = {who: len(journal(folder, who)) for who in workers}
        running = [start(folder, who) for who in workers]
        try:
            while any(len(journal(folder, who)) < before[who] + 4 for who in workers):
                assert all(one.poll() is None for one in running)
                time.sleep(0.005)
            time.sleep(dice.uniform(0.0, 0.05))
        finally:
            for one in running:
                one.kill()
            trouble = [one.communicate()[1].decode() for one in running]
        assert trouble == [""] * len(workers)
        check(folder, workers)


@pytest.mark.skipif(os.name == "nt", reason="a process cannot be killed between two instructions there as it is here")
def test_a_killed_server_loses_nothing_acknowledged(tmp_path: Path) -> None:
    assert signal.SIGKILL
    run(tmp_path, ("a",), 3)


@pytest.mark.slow
def test_two_servers_killed_again_and_again(tmp_path: Path) -> None:
    run(tmp_path, ("a", "b"), 8)
