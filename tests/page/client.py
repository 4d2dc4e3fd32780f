"""A desk on a folder of its own, and a client that holds the key: the page asked without a server."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from coldside.page.desk import Desk
from coldside.page.guard import cookie_name
from coldside.page.server import create_app
from coldside.resources import examples_folder

SHORT = """schema = "coldside.session/1"
name = "Two short pulls"
start = "ambient"

[ambient]
temperature = "31 degC"

[[phases]]
kind = "idle"
duration = "20 s"

[[phases]]
kind = "pull"
on = "dyno"
from = "3000 rpm"
to = "7000 rpm"
duration = "8 s"
repeat = 2
rest = "20 s"

[[limits]]
quantity = "intake"
at_most = "45 degC"       # kept through every change
"""
BUILD, SESSION = "tern/water.toml", "short.toml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A project with two invented cars and a session of a minute and a half."""
    shutil.copytree(examples_folder() / "tern", tmp_path / "tern")
    (tmp_path / "short.toml").write_text(SHORT, encoding="utf-8")
    return tmp_path


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    """The page's state on that project."""
    made = Desk(folder)
    yield made
    made.close()


class Client:
    """A browser without a screen: GET and POST with the key."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.http = TestClient(create_app(desk, token="key"), base_url="http://127.0.0.1:8750", follow_redirects=False)
        self.http.cookies.set(cookie_name("127.0.0.1:8750"), "key")

    def page(self, address: str, code: int = 200) -> str:
        """A place as HTML."""
        answer = self.http.get(address)
        assert answer.status_code == code, answer.text
        return answer.text

    def get(self, address: str, code: int = 200) -> dict:
        """Data."""
        answer = self.http.get(address)
        assert answer.status_code == code, answer.text
        return answer.json()

    def post(self, address: str, code: int = 200, **data: object) -> dict:
        """Something done."""
        answer = self.http.post(address, json=data)
        assert answer.status_code == code, answer.text
        return answer.json()

    def finish(self, job: str, patience: float = 60.0) -> dict:
        """Wait for a job's end."""
        end, version = time.monotonic() + patience, -1
        while time.monotonic() < end:
            state = self.get(f"/do/job?id={job}&after={version}")
            version = state["version"]
            if state["state"] != "running":
                return state
        raise AssertionError("the job did not end")


@pytest.fixture
def client(desk: Desk) -> Client:
    """A browser without a screen on that project."""
    return Client(desk)
