"""Files of a height map: what another program reads back from them."""

from __future__ import annotations

import io
import json
import math
import zipfile

import numpy as np
import pytest

from knurlcam.errors import InputError, KnurlcamError
from knurlcam.imprint.archive import npz_bytes
from knurlcam.imprint.solid import stl_bytes
from knurlcam.imprint.surface import Surface
from tests.support.maps import UNFIT, surface


def test_an_archive_reads_back_what_was_written() -> None:
    of = surface("diamond", 0.2)
    measures = {"teeth": 80, "tooth_height_mm": 0.41, "note": "½ × tooth"}
    with np.load(io.BytesIO(npz_bytes(of, measures)), allow_pickle=False) as read:
        assert read["height_mm"].dtype == np.float32
        assert (read["height_mm"] == of.height_mm).all()
        for name in ("z_mm", "dz_mm", "cell_mm", "blank_diameter_mm"):
            assert float(read[name]) == getattr(of, name)
        assert json.loads(str(read["measures"])) == measures


def test_files_say_at_their_beginning_what_they_are() -> None:
    of = surface("straight", 1.0)
    assert b"height_mm.npy" in npz_bytes(of, {})[:512]
    assert zipfile.ZipFile(io.BytesIO(npz_bytes(of, {}))).namelist()[0] == "height_mm.npy"
    assert stl_bytes(of).startswith(b"knurlcam")


@pytest.mark.parametrize("measures", [{"a": math.nan}, {"a": object()}])
def test_measures_that_json_cannot_hold_are_refused(measures: dict[str, object]) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        npz_bytes(surface("plain"), measures)


@pytest.mark.few(3)
@pytest.mark.parametrize("unfit", UNFIT)
def test_a_map_that_cannot_be_shown_is_not_written(unfit: Surface) -> None:
    with pytest.raises(KnurlcamError):
        npz_bytes(unfit, {})
    with pytest.raises(KnurlcamError):
        stl_bytes(unfit)


def test_the_same_map_gives_the_same_files() -> None:
    of = surface("diamond", 0.2)
    assert npz_bytes(of, {"teeth": 80}) == npz_bytes(of, {"teeth": 80})
    twice = [stl_bytes(of, most_triangles=20_000) for _ in range(2)]
    assert twice[0] == twice[1]
