"""Rehearsals by the names that the command line takes."""

from __future__ import annotations

import numpy as np

from sensorswim.errors import InputError
from sensorswim.rehearsal.draw import KITS, draw_plan
from sensorswim.rehearsal.samples import SAMPLES
from sensorswim.rehearsal.settings import Kit
from sensorswim.rehearsal.simulate import Rehearsal, rehearse
from sensorswim.rehearsal.swimmers import swimmers

SAMPLE = "sample"


def rehearse_named(name: str, *, kit: str = "core", seed: int = 2026) -> Rehearsal:
    """Simulate a sample session, or a random plan of lengths of a named invented swimmer.

    Raises
    ------
    InputError
        A swimmer or a kit that isn't known.
    """
    if kit not in KITS:
        raise InputError(f"no kit {kit!r}", mend=f"use one of {', '.join(KITS)}")
    if name in SAMPLES:
        return SAMPLES[name](placements=KITS[kit], seed=seed)
    if name not in swimmers:
        known = ", ".join([*SAMPLES, *swimmers])
        raise InputError(f"no swimmer {name!r}", mend=f"use one of {known}")
    plan = draw_plan(np.random.default_rng(seed))
    worn = Kit(placements=KITS[kit], clock_offset_s=40.0)
    return rehearse(plan, swimmer=swimmers[name], kit=worn, seed=seed)
