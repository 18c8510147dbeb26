"""What the rolls leave, on the setter's page: shown, judged, or said why it is not."""

from __future__ import annotations

import re
import subprocess
import sys
from html import unescape
from pathlib import Path

import pytest

from knurlcam import Job, read_program
from knurlcam.imprint.make import make_imprint
from knurlcam.imprint.report import ESTIMATE, imprint_rows, remarks_of
from knurlcam.review import review_page
from knurlcam.review.onefile import content_policy
from tests.support.breaking import Text, good_job, good_plan, good_program
from tests.support.jobs import DOUBLED, base_job
from tests.support.pages import page_for, planned
from tests.support.programs import long_program

ROOT = Path(__file__).resolve().parents[2]


def page(text: str | None = None) -> str:
    return page_for(good_job("diamond"), text, None if text is None else "iso6983").html


def doubled() -> str:
    return page_for(Job.model_validate(base_job(DOUBLED))).html


def section(html: str) -> str:
    """Return what the section says, entities resolved and pictures taken out."""
    part = html[html.index('id="left"') : html.index("</main>")]
    return unescape(re.sub(r"data:[^\"]*", "", part))


def test_the_page_shows_what_is_measured_on_the_map() -> None:
    told = section(page())
    plan = good_plan("diamond")
    motion = read_program(good_program("diamond", "iso6983"), "iso6983")
    imprint = make_imprint(plan, motion, resolution_mm=plan.knurl.pitch_mm / 25.0)
    for name, value, how in imprint_rows(imprint):
        assert name in told.lower()
        assert value in told
        assert how in told
    for sentence in (*remarks_of(imprint), ESTIMATE):
        assert sentence in told
    assert "Blanks that track" in told
    assert "with this program; the handbook allows" in told


def test_the_page_shows_close_up_part_and_section_with_words_for_each() -> None:
    told = section(page())
    assert len(re.findall(r'<img src="" width="\d+" height="\d+" alt="[^"]{40,}"', told)) == 2
    assert '<svg class="section"' in told
    assert "each tooth printed once" in told
    assert re.search(r"<desc>At Z \S+ mm the teeth are \S+ mm tall", told)


def test_a_clean_knurl_is_said_quietly_and_where_the_trial_strip_is_judged() -> None:
    html = page()
    assert "<strong>clean</strong>, double impression 0.0" in html
    assert "Predicted (estimate): clean." in html
    assert "Warning" not in section(html)
    assert 'class="doubled"' not in html


def test_a_double_impression_is_said_at_the_top_at_the_trial_strip_and_in_its_section() -> None:
    html = doubled()
    top = html[html.index("<body") : html.index("<main>")]
    assert "<strong>Warning: double impression.</strong>" in top
    assert "<strong>Predicted (estimate): double impression.</strong>" in html
    told = section(html)
    assert "<strong>Warning: double impression.</strong>" in told
    assert "stray prints between the teeth" in told
    assert "not even the planned one is clean" in told
    assert 'class="twice"' in top, "a shape besides the word"


def test_no_page_calls_one_blank_clean_and_not_clean() -> None:
    """The window looks at other places than the map: at the border they may not agree."""
    job = Job.load(ROOT / "samples" / "slow-motion-handle.toml")
    html = review_page(job).html
    assert ("<strong>clean</strong>" in html) != ("not even the planned one is clean" in html)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("X2", "X9", "the rolls never touch the work"),
        (" M03", "", "or only while it stands still"),
        ("G90", "G91", "from a start point that it does not state"),
        ("Z-20.000", "Z-2000.000", "too often to follow for a page"),
        pytest.param("F0.500", "F0.020", "too often to follow for a page", marks=pytest.mark.long),
    ],
)
def test_what_is_not_available_is_said_in_a_sentence(old: str, new: str, why: str) -> None:
    text = good_program("diamond", "iso6983")
    assert old in text
    told = section(page(text.replace(old, new)))
    assert "What the rolls leave cannot be shown: " in told
    assert why in told
    assert "<img" not in told


def test_a_program_of_very_many_blocks_is_not_followed() -> None:
    html = review_page(good_job("diamond"), long_program(3_001), "rs274").html
    assert "too many blocks to follow" in section(html)


def test_rolls_that_never_find_a_track_are_not_followed_for_ever() -> None:
    """Each turn cuts a track of its own where the first one is next to nothing deep."""
    text = Text.of("diamond", "iso6983")
    for line in text.infeeds:
        text.put(line, "X", 24.615)
    for line in text.traverses:
        text.put(line, "F", 0.02)
    told = section(page(str(text)))
    assert "too often to follow for a page" in told
    assert "<img" not in told


def test_a_program_with_errors_has_its_pictures_but_no_good_blanks() -> None:
    text = Text.of("diamond", "iso6983")
    text.put(text.traverses[0], "Z", -21.0)
    told = section(page(str(text)))
    assert "<img" in told
    assert "a program with errors has none" in told


def test_the_pictures_take_little_room_in_the_page() -> None:
    for html in (page(), doubled()):
        pictures = re.findall(r'src="data:image/\w+;base64,([^"]*)"', html)
        assert sum(map(len, pictures)) < 60_000


def test_pictures_are_let_by_on_pages_that_have_some_only() -> None:
    assert "img-src" not in content_policy("", "")


def test_writing_a_program_loads_nothing_that_draws(tmp_path: Path) -> None:
    sample = ROOT / "samples" / "focus-knob.toml"
    code = (
        "import sys\n"
        "from knurlcam.cli.app import main\n"
        f"sys.argv = ['knurlcam', 'program', {str(sample)!r}, '-o', {str(tmp_path / 'a.nc')!r}]\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "assert not {'numpy', 'PIL'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
    assert (tmp_path / "a.nc").exists()


def test_a_ten_pass_job_fits_in_400_kilobytes() -> None:
    plan = planned(**{"process.passes": 10})
    assert len(plan.passes) == 11
    assert len(page_for(plan.job).html.encode()) < 400_000
