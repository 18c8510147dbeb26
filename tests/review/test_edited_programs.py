"""Programs that are not what they should be: shown as they are, and said."""

from __future__ import annotations

import re

import pytest

from knurlcam import Job
from knurlcam.review import review_page
from knurlcam.review.tables.passes import passes_table
from knurlcam.review.tables.speeds import speed_sheet
from tests.support.breaking import Text, good_job, good_program
from tests.support.jobs import base_job
from tests.support.pages import (
    FOLLOWED,
    page_for,
    planned,
    row,
    timed,
)

pytestmark = pytest.mark.usefixtures("rough_imprint")


@pytest.mark.parametrize(
    ("old", "new"),
    [("Z-20.000", "Z-99999999."), ("X1.091", "X9999999."), ("S110", "S0")],
)
def test_what_cannot_be_drawn_is_cut_and_said(old: str, new: str) -> None:
    text = good_program("diamond", "iso6983")
    assert old in text
    page = review_page(good_job("diamond"), text.replace(old, new), "iso6983")
    assert page.verification.findings
    assert not re.search(r"\b(nan|infinity|inf)\b", page.html, re.IGNORECASE)
    assert ("too large to show" in page.html) == (new != "S0")


@pytest.mark.parametrize(
    "z",
    ["Z-9999.000", *(pytest.param(z, marks=pytest.mark.long) for z in ("Z-200.000", "Z60.000"))],
)
def test_a_following_slide_far_beyond_the_work_is_shown_with_its_findings(z: str) -> None:
    job = planned(**FOLLOWED).job
    text = page_for(job).text
    assert "Z-120.000" in text
    made = review_page(job, text.replace("Z-120.000", z, 1))
    assert not made.verification.ok
    assert "view-yield" in made.html


def runs(text: Text) -> list[str]:
    """Return what the table says of each pass against the plan."""
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    table = html[html.index('class="passes"') :]
    rows = re.findall(r"<tr.*?</tr>", table[: table.index("</table>")], re.DOTALL)
    return [re.findall(r"<td[^>]*>(.*?)</td>", r)[-1] for r in rows[1:]]


def test_increments_from_nowhere_are_said_to_be_unknown() -> None:
    text = Text.of("diamond", "iso6983")
    text.modes.sub("G90", "G91")
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "by increments from a start that it does not state" in html
    assert "not known" in html
    assert "never touch" not in html


@pytest.mark.parametrize(
    "edit",
    [
        "feed",
        pytest.param("dwell", marks=pytest.mark.long),
        pytest.param("speed", marks=pytest.mark.long),
        pytest.param("entry", marks=pytest.mark.long),
        "rapid",
        pytest.param("coolant", marks=pytest.mark.long),
    ],
)
def test_a_pass_with_an_error_in_it_is_not_called_as_planned(edit: str) -> None:
    text = Text.of("diamond", "iso6983")
    if edit == "feed":
        text.put(text.traverses[0], "F", 2.0)
    elif edit == "dwell":
        text.put(text.dwells[0], "D", 0.1)
    elif edit == "speed":
        text.start.sub("S110", "S2000")
    elif edit == "entry":
        text.put(text.all("G00 Z")[0], "Z", -8.333)
    elif edit == "rapid":
        text.put(text.all("G00 X")[1], "X", 20.0)
    else:
        text.before(text.traverses[0], "M09")
    assert runs(text)[0].startswith("no: ")


@pytest.mark.parametrize("edit", ["spindle", "surface", "feed"])
def test_a_time_that_is_unknown_is_not_invented(edit: str) -> None:
    text = Text.of("diamond", "iso6983")
    if edit == "spindle":
        text.start.sub(" M03", "")
    elif edit == "surface":
        text.start.sub("G97", "G96")
    else:
        for line in text.all("G01"):
            text.drop(line, "F")
    plan, motion, line = timed("diamond", "iso6983", str(text))
    assert row(speed_sheet(plan, motion, line), "Time")[0] == "not known"
    assert passes_table(plan, line, radius=False)[0].seconds == "not known"
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "at once or at a wrong speed" in html


def test_motion_outside_a_picture_is_said() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.infeeds[-1], "X", 4.0)
    html = review_page(good_job("diamond"), str(text), "iso6983").html
    assert "leaves the picture “Each pass, the depth stretched”" in html
    clean = page_for(good_job("diamond")).html
    assert "leaves the picture" not in clean


def test_warnings_and_accepted_refusals_stand_in_the_first_line() -> None:
    """Of a blank that doubles, and of work that is held in a chuck alone."""
    job = Job.model_validate(
        base_job(
            {
                "part.knurled_diameter": None,
                "part.blank_diameter": 24.8,
                "process.accept": ["does-not-track"],
                "holding": {"method": "chuck"},
                "part.length": 27.0,
            }
        )
    )
    html = page_for(job).html
    assert "no error, <strong>1 refusal accepted, 2 warnings</strong>" in html
    assert html.index("Findings and notes") < html.index("The work and the roll")


def test_characters_that_turn_a_line_round_are_named() -> None:
    text = good_program("diamond", "iso6983").replace("(RETRACT)", "(RE\u202eTRACT)")
    html = review_page(good_job("diamond"), text, "iso6983").html
    assert "\u202e" not in html
    assert "‹U+202E›" in html


def test_two_texts_never_have_the_same_checksum() -> None:
    text = good_program("diamond", "iso6983")
    checksums = {
        re.search(r"lines, ([0-9A-F]{8})", review_page(good_job("diamond"), t).html)[1]  # type: ignore[index]
        for t in (text, text.replace("S110", "S111"), text + "\n")
    }
    assert len(checksums) == 3
