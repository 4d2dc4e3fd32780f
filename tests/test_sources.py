"""The bibliography: keys, standing, and the refusal of an unknown key."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coldside import sources
from coldside.errors import BadInput

STANDINGS = {
    sources.SEEN,
    sources.IN_PART,
    sources.COMPUTED,
    sources.MEMORY,
    sources.OWN,
    sources.PRACTICE,
}


def test_every_source_says_how_far_it_was_read():
    for key, source in sources.SOURCES.items():
        assert source.key == key
        assert source.standing in STANDINGS
        assert len(source.reference) > 20


def test_cite_gives_reference_and_standing():
    assert sources.cite("Practice") == "common practice, no source [common practice]"


def test_an_unknown_key_is_refused_with_the_nearest():
    with pytest.raises(BadInput) as caught:
        sources.cite("Churchil1977")
    assert str(caught.value) == "no source 'Churchil1977'; nearest: 'Churchill1977'"


def test_media_and_correlations_cite_known_keys_only():
    """A key is a name followed by a year; every one in these modules is in the bibliography."""
    import coldside

    root = Path(coldside.__file__).parent
    files = [*sorted((root / "media").glob("*.py")), root / "parts" / "correlations.py"]
    assert {"air.py", "coolants.py", "fuels.py", "end_gas.py", "correlations.py"} <= {file.name for file in files}
    for file in files:
        cited = re.findall(r"\b([A-Z][a-z]+(?:[A-Z][a-z]+)*(?:19|20)\d\d)\b", file.read_text(encoding="utf-8"))
        assert set(cited) <= set(sources.SOURCES), file.name
