"""What an owner gets who installs without a clone: every module, every bundled example, every data file."""

from __future__ import annotations

import subprocess
import sys
import zipfile

import coldside
from shape.source import PACKAGE, ROOT


def test_the_wheel_carries_all_that_a_demo_needs(tmp_path):
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    run = subprocess.run(build, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    (wheel,) = tmp_path.glob(f"coldside-{coldside.__version__}-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        packed = set(archive.namelist())
    wanted = {
        f"coldside/{file.relative_to(PACKAGE).as_posix()}"
        for file in PACKAGE.rglob("*")
        if file.is_file() and "__pycache__" not in file.parts and file.suffix not in {".pyc", ".nbi", ".nbc"}
    }
    wanted |= {
        f"coldside/{file.relative_to(ROOT).as_posix()}"
        for file in (ROOT / "examples").rglob("*")
        if file.is_file() and "__pycache__" not in file.parts
    }
    assert {"coldside/examples/tern/water.toml", "coldside/examples/sessions/dyno-pulls.toml"} <= wanted
    assert not wanted - packed
