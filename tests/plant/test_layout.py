"""The header of the packed arrays: the kernel's bare numbers name what the layout puts there."""

from __future__ import annotations

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.demand import sample
from coldside.duty.phases import load_session
from coldside.plant import kernel, layout
from coldside.plant.assemble import assemble


def test_every_number_of_the_kernel_is_the_place_of_its_name():
    taken = {}
    for prefix, names in (("H_", layout.MEMBERS + layout.COUNTS + layout.SIZES), ("W_", layout.SCRATCH)):
        for name in names:
            taken[name] = getattr(kernel, prefix + name.upper())
    assert taken == {name: place for place, name in enumerate(layout.HEADER)}
    assert [getattr(kernel, "S_" + name.upper()) for name in layout.SCALARS] == list(range(len(layout.SCALARS)))
    assert len(layout.HEADER) == len(set(layout.HEADER))


@pytest.fixture(scope="module")
def arrays(examples):
    build = load_build(examples / "plover" / "build.toml")
    return assemble(build, sample(load_session(examples / "sessions" / "steady.toml"), build)).arrays


def test_packing_loses_nothing(arrays):
    packed = layout.pack(arrays)
    for place, name in enumerate(layout.MEMBERS):
        member = np.asarray(getattr(arrays, name)).ravel()
        pile = packed.I if np.issubdtype(member.dtype, np.integer) else packed.F
        start = packed.I[place]
        np.testing.assert_array_equal(pile[start : start + member.size], member)


def test_the_width_of_a_pass_is_the_kernels(arrays):
    assert arrays.passes.shape[1] == kernel.WIDTH
    assert arrays.in_recirculation == layout.IN_SPEED + len(arrays.duct_nodes)
    assert arrays.in_pressure == arrays.in_recirculation + len(arrays.duct_nodes)
    assert arrays.in_running == arrays.in_pressure + 2
    assert arrays.in_source == arrays.in_running + 1
    assert arrays.in_limit == arrays.in_source + len(arrays.source_field)
    assert arrays.in_injection == arrays.in_limit + layout.LIMIT_BLOCK * len(arrays.source_field)
    blocks = layout.BETWEEN_NODES if arrays.stages == 2 else 0
    assert arrays.inputs.shape[1] == arrays.in_stage + blocks * layout.STAGE_BLOCK


def test_scratch_is_views_into_what_the_kernel_takes(arrays):
    work = layout.new_work(arrays)
    for number, name in enumerate(layout.SCRATCH):
        getattr(work, name)[...] = number + 1.0
    assert np.all(work.packed > 0.0)
    packed = layout.pack(arrays)
    for number, name in enumerate(layout.SCRATCH):
        if getattr(work, name).size:
            assert work.packed[packed.I[getattr(kernel, "W_" + name.upper())]] == number + 1.0
