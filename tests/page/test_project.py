"""The folder that the page works in: nothing outside it is touched, nothing half-written.

Invented names alone; that a name such as "../x" must not lead outside is common practice, no source.
"""

from __future__ import annotations

import os
import sys

import pytest

from coldside.errors import BadInput
from coldside.page.project import Project, etag, file_name

BUILD = 'schema = "coldside.build/1"\nname = "A \\"car\\""\n'
SESSION = 'schema = "coldside.session/1"\nname = "A session"\n'


@pytest.fixture
def project(tmp_path) -> Project:
    made = Project(tmp_path)
    made.write("tern/water.toml", BUILD)
    made.write("sessions/track.toml", SESSION)
    return made


def test_files_are_told_by_what_they_say_they_are(project):
    (project.folder / "other.toml").write_text("a = 1\n")
    (project.folder / "binary.toml").write_bytes(b"\xff\xfe\x00")
    assert [(e.name, e.kind) for e in project.entries()] == [
        ("sessions/track.toml", "session"),
        ("tern/water.toml", "build"),
    ]
    assert [e.title for e in project.entries("session")] == ["A session"]


@pytest.mark.parametrize(
    "name",
    [
        "../a.toml",
        "/etc/a.toml",
        "a/../../b.toml",
        "a\\b.toml",
        "a.txt",
        "",
        ".hidden.toml",
        "a/b/c/d.toml",
        "a\0.toml",
        "C:/a.toml",
        "a/./b.toml",
        "x" * 300 + ".toml",
        "con:.toml",
        "a/ .toml",
    ],
)
def test_names_that_lead_elsewhere_are_refused(project, name):
    for call in (project.path, project.read, lambda n: project.write(n, "x"), lambda n: project.create(n, "x")):
        with pytest.raises(BadInput):
            call(name)


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_out_of_the_folder_are_not_followed(project, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside")
    (outside / "secret.toml").write_text(BUILD)
    os.symlink(outside, project.folder / "link")
    os.symlink(outside / "secret.toml", project.folder / "secret.toml")
    assert [e.name for e in project.entries("build")] == ["tern/water.toml"]
    for name in ("link/secret.toml", "secret.toml"):
        with pytest.raises(BadInput, match="outside"):
            project.read(name)


def test_a_missing_file_names_the_nearest(project):
    with pytest.raises(BadInput, match=r'nearest: "tern/water\.toml"'):
        project.read("tern/watr.toml")


def test_writing_keeps_what_was_there(project):
    project.write("tern/water.toml", BUILD + "# more\n")
    assert project.read("tern/water.toml").endswith("# more\n")
    assert (project.folder / "tern" / "water.toml.bak").read_text() == BUILD


def test_a_new_file_never_takes_a_name_that_is_there(project):
    assert project.create("tern/water.toml", "x") == "tern/water-2.toml"
    assert project.create("tern/water.toml", "y") == "tern/water-3.toml"
    assert project.read("tern/water.toml") == BUILD


def test_a_mark_says_whether_a_file_changed(project):
    before = project.etag("tern/water.toml")
    assert before == etag(BUILD)
    project.write("tern/water.toml", BUILD + "\n")
    assert project.etag("tern/water.toml") != before
    assert project.etag("nothing.toml") == ""


def test_a_title_becomes_a_plain_name():
    assert file_name("Tern, two cores (38 °C)!") == "tern-two-cores-38-c.toml"
    assert file_name("../..") == "car.toml"


def test_no_folder_is_refused(tmp_path):
    with pytest.raises(BadInput, match="no folder"):
        Project(tmp_path / "nothing")
