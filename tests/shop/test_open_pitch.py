"""A job that names a form and leaves the pitch to the shop's rolls."""

from __future__ import annotations

from pathlib import Path

import pytest

from knurlcam import CannotBeDoneError, Job, JobFileError, make_plan
from tests.support.commands import FOCUS
from tests.support.shops import changed, job_file


def open_job(folder: Path, form: str = "RGE", purpose: str = "", text: str = "") -> Path:
    """Write a job without a pitch."""
    file = job_file(folder, text)
    lines = f'form = "{form}"' + (f'\npurpose = "{purpose}"' if purpose else "")
    written = file.read_text("utf-8").replace('callout = "DIN 82 RGE 1.0"', lines)
    file.write_text(written, encoding="utf-8")
    return file


def pitched(folder: Path, callout: str, diameter: float) -> Path:
    """Write a job of another diameter, with its pitch."""
    file = job_file(folder, callout=callout)
    text = file.read_text("utf-8").replace("= 25.0", f"= {diameter}")
    file.write_text(text, encoding="utf-8")
    return file


def warnings_of(file: Path) -> int | None:
    """Return how much a job's plan warns of; None where it is refused."""
    try:
        plan = make_plan(Job.load(file))
    except CannotBeDoneError:
        return None
    return sum(note.severity == "warning" for note in plan.notes)


def said(job: Job) -> str:
    (note,) = [n for n in make_plan(job).notes if n.code == "rolls-chosen"]
    return note.message


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize(
    ("purpose", "pitch", "why"),
    [
        ("", 1.0, "the coarsest of them, for grip"),
        ("grip", 1.0, "the coarsest of them, for grip"),
        ("appearance", 0.8, "the finest of them, for appearance"),
    ],
)
def test_the_purpose_decides_between_rolls_that_can_be_planned(
    purpose: str, pitch: float, why: str, tmp_path: Path
) -> None:
    job = Job.load(open_job(tmp_path, purpose=purpose))
    assert job.knurl.pitch == pitch
    assert why in said(job)
    assert "these can be planned too: 'diamond" in said(job)
    assert {"knurl.pitch", "tool.rolls"} <= job.from_shop


@pytest.mark.usefixtures("shop")
def test_the_only_rolls_that_make_the_form_are_taken(tmp_path: Path) -> None:
    job = Job.load(open_job(tmp_path, "RAA"))
    assert (job.tool.style, job.knurl.pitch) == ("single roll", 0.8)
    assert "'straight 0.8' in 'side 20', pitch 0.800 mm, the only ones" in said(job)


def test_rolls_that_are_warned_of_less_go_before_those_of_the_purpose(
    shop: Path, tmp_path: Path
) -> None:
    # A knurl of 20 mm under rolls as wide: coarse pits stay shallow on this diameter.
    for pitch in ("1.0", "0.8"):
        old = f'forms = ["BL", "BR"]\npitch = {pitch}\nroll_diameter = 20.0\nface_width = '
        width = "10.0" if pitch == "1.0" else "8.0"
        changed(shop, old + width, old.replace('"BL", "BR"', '"GE"') + "20.0")
    decided = 0
    for diameter in (25.1, 25.3, 25.4, 25.6, 25.75, 25.9):
        warned = {p: warnings_of(pitched(tmp_path, f"RGV {p}", diameter)) for p in (1.0, 0.8)}
        fewest = min(w for w in warned.values() if w is not None)
        best = max(p for p, w in warned.items() if w == fewest)
        decided += best == 0.8
        file = open_job(tmp_path, "RGV")
        text = file.read_text("utf-8").replace("= 25.0", f"= {diameter}")
        file.write_text(text, encoding="utf-8")
        assert Job.load(file).knurl.pitch == best
    assert decided


@pytest.mark.usefixtures("shop")
def test_the_same_job_with_the_pitch_written_out_has_the_same_plan(tmp_path: Path) -> None:
    chosen = make_plan(Job.load(open_job(tmp_path)))
    written = make_plan(Job.load(job_file(tmp_path)))
    assert chosen.passes == written.passes
    assert chosen.blank_diameter_mm == written.blank_diameter_mm


@pytest.mark.usefixtures("shop")
def test_a_form_that_no_rolls_of_the_shop_make_is_refused_with_what_is_missing(
    tmp_path: Path,
) -> None:
    with pytest.raises(CannotBeDoneError, match="make form RKE, which takes rolls KV") as caught:
        Job.load(open_job(tmp_path, "RKE"))
    (refusal,) = caught.value.refusals
    assert (refusal.code, refusal.key) == ("no-rolls-in-shop", "knurl.pitch")
    assert "rolls BL BR do not make form RKE" in refusal.message


@pytest.mark.usefixtures("shop")
def test_where_every_plan_is_refused_the_plan_says_why(tmp_path: Path) -> None:
    file = open_job(tmp_path)
    file.write_text(file.read_text("utf-8").replace("70.0", "15.0"), encoding="utf-8")
    with pytest.raises(CannotBeDoneError, match="past-the-chuck"):
        make_plan(Job.load(file))


@pytest.mark.usefixtures("shop")
def test_a_tool_of_the_jobs_own_takes_the_shops_rolls_of_its_size(tmp_path: Path) -> None:
    text = (
        "tool = {style = 'knuckle joint', roll_spacing = 21, station = 9, roll_diameter = 20, "
        "face_width = 8}\n"
    )
    job = Job.load(open_job(tmp_path, text=text))
    assert (job.tool.station, job.knurl.pitch) == (9, 0.8)
    assert 'in "the job\'s own tool"' in said(job)


def test_without_a_shop_a_missing_pitch_is_named_with_the_ways_to_give_it(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    text = FOCUS.read_text("utf-8").replace('callout = "DIN 82 RGE 1.0"', 'form = "RGE"')
    file.write_text(text, encoding="utf-8")
    with pytest.raises(JobFileError, match="a pitch, or a shop file with tools and rolls"):
        Job.load(file)
